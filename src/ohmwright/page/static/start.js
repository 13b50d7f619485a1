// What is to be run at a bench, and its beginning.

import { h, put, redo, set } from './dom.js'
import { figureField, figureIn } from './figure_field.js'
import { OF_RUN, asBegun, chosenRun, runOption } from './go_on.js'
import { attempt, forget, tell } from './line.js'
import { ask, giveOrder } from './link.js'
import { keepName, keptName } from './operator_name.js'
import { takesScans } from './scan.js'
import { changed, isBusy, isSilent, mayCommand } from './store.js'
import { unitLine } from './unit_line.js'

const CAUTION = 'CAUTION: HF output burns and ignites, and the analyzer’s terminals carry high voltage at high frequency. Qualified staff only; the unit disconnected from any patient; maker’s service manual and local codes first; electrical-safety tests before output tests.'

const OF_REGISTER = 'register'  // in place of the number of a procedure

// the form of each bench is kept: who looks at what would be done finds what was chosen again
const forms = new Map()

export function startForm(number) {
  if (!forms.has(number)) forms.set(number, newForm(number))
  const form = forms.get(number)
  form.askAnew()
  return form
}

function newForm(number) {
  const fields = {
    asset: h('input', { type: 'text', name: 'asset', maxlength: 1000, autocomplete: 'off', spellcheck: false, oninput: () => own() }),
    procedure: h('select', { required: true, name: 'procedure', onchange: () => look() }),
    work: h('select', { name: 'work' }, h('option', { value: 'calibrate' }, 'As found, adjust, as left'),
      h('option', { value: 'as found' }, 'Measure as found, adjust nothing')),
    unattended: h('input', { type: 'checkbox', name: 'unattended', onchange: () => look() }),
    expired: h('input', { type: 'checkbox', name: 'expired' }),
    temperature: figureField('temperature', [-10, 60], '21.5 or 21,5'),
    humidity: figureField('humidity', [0, 100], '45.5 or 45,5'),
    resume: h('select', { name: 'resume', onchange: () => { asBegun(fields); own() } }),
    workOrder: h('input', { type: 'text', name: 'work-order', maxlength: 200, autocomplete: 'off' }),
    operator: h('input', { type: 'text', name: 'operator', maxlength: 100, autocomplete: 'off', value: keptName(), onchange: () => keepName(fields.operator.value) }),
  }
  const preview = h('a', { href: '#' }, 'What would be done'), begin = h('button', { class: 'begin' }, 'Begin')
  const line = unitLine(number), tag = () => (fields.resume.value === '' ? fields.asset.value.trim() : '')
  const look = () => {
    const of = fields.procedure.value
    set(preview, 'href', `#/bench/${number}/procedure/${of === OF_REGISTER ? `of/${encodeURIComponent(tag())}` : of}`)
    set(preview, 'hidden', of === OF_RUN)
  }
  takesScans(fields.asset, () => own(true))
  const own = (isWhole = false) => {  // the register says by which procedure a unit is worked
    offerOwn(fields)
    look()
    line.look(tag(), isWhole)
    changed()
  }
  const label = (words, field) => h('label', {}, h('span', {}, words), field)
  const unit = label('Unit: its tag, typed or scanned', fields.asset), goOn = label('Go on with', fields.resume), workOrder = label('Work order', fields.workOrder)
  set(goOn, 'class', 'go-on')
  set(unit, 'class', 'of-unit')
  const check = (words, field) => h('label', { class: 'check' }, field, h('span', {}, words))
  // nothing of practice is kept, and whoever practises is there: none of these is asked for it
  const ofRealWork = [label('Your name, for the record', fields.operator), workOrder,
    check('Unattended: nobody stays here to answer questions', fields.unattended),
    check('Accept an analyzer past its calibration date', fields.expired),
    label('Room temperature in °C', fields.temperature), label('Relative humidity in %', fields.humidity)]
  const element = h('form', { class: 'card start', hidden: true, onsubmit: (event) => { event.preventDefault(); submit() } },
    h('h2', {}, 'Begin a run'), h('p', { class: 'caution' }, CAUTION),
    goOn, unit, label('Procedure', fields.procedure), label('Work', fields.work), line.element, ...ofRealWork,
    h('div', { class: 'row' }, begin, preview))
  let asked = '', isAsking = false, wish = null
  const submit = async () => {
    if (isAsking) return  // a button that is pressed twice begins one run
    isAsking = true
    asked = ''  // where it is refused: what is listed may be old
    await attempt(async () => {
      await giveOrder(`/benches/${number}/begin`, order(fields))
      forms.delete(number)
      fields.asset.value = ''  // what comes to the bench next is another unit
      own()
      forget()
      scrollTo(0, 0)
    })
    isAsking = false
  }
  const take = () => {
    look()
    if (wish === null) return
    const { asset = '', run = '', work } = wish
    wish = null
    fields.resume.value = run
    if (fields.resume.value !== run) {
      fields.resume.value = ''
      tell('This run cannot go on here: it has ended, was refused, or was begun at another bench.')
    }
    fields.asset.value = asset
    if (work !== undefined) fields.work.value = work === 'verify' ? 'as found' : work
    asBegun(fields)
    own(true)
    element.scrollIntoView()
  }
  return {
    element,
    askAnew() { asked = '' },
    /** Whether a run is among those that can go on here. */
    canGoOn: (run) => [...fields.resume.options].some((option) => option.value === run),
    /** Fill in a unit (`asset`) and the `work` that a campaign is of, or a run to go on with (`run`); nothing is begun by it. */
    fillIn(given) { [wish, asked] = [given, ''] },
    update(known) {
      const free = !isBusy(known)
      set(element, 'hidden', !free)
      const { own_asset: ownAsset, practice } = known.now, run = chosenRun(fields)
      for (const field of [unit, ...ofRealWork]) set(field, 'hidden', practice)
      set(goOn, 'hidden', fields.resume.options.length < 2)  // the first says: a new run
      set(fields.asset, 'placeholder', run?.asset ?? (ownAsset === '' ? '' : `empty: ${ownAsset}`))
      fields.asset.required = ownAsset === '' && !practice && fields.resume.value === ''
      begin.disabled = isSilent() || !mayCommand(known) || fields.procedure.value === ''
      const key = `${known.now.state} ${known.run}`
      if (free && asked !== key) {
        asked = key
        attempt(() => load(number, fields, known).then(take)).then(changed)
      } else if (!free && wish !== null) {
        wish = null
        tell(`A run goes on at ${known.now.name}: wait for its end, or stop it.`)
      }
    },
  }
}

async function load(number, fields, known) {
  const { procedures, unfinished } = await ask(`/benches/${number}/procedures`)
  const fits = (one) => one.problem === '' && known.now.models.includes(one.model)
  const chosen = fields.procedure.value, resumed = fields.resume.value
  const offered = known.now.practice ? procedures.filter(fits).sort((a, b) => a.steps - b.steps) : [...procedures].sort((a, b) => fits(b) - fits(a))
  fields.procedure.replaceChildren(...offered.map((one) =>
    h('option', { value: one.number, 'data-digest': one.digest }, `${one.title || one.file}${fits(one) ? '' : one.problem ? ' (has an error)' : ` (for ${one.model})`}`)))
  if (!['', OF_REGISTER, OF_RUN].includes(chosen)) fields.procedure.value = chosen
  fields.resume.replaceChildren(h('option', { value: '' }, 'nothing: a new run'), ...unfinished.map(runOption))
  fields.resume.value = unfinished.some((run) => run.run_id === resumed) ? resumed : ''
  asBegun(fields)
  offerOwn(fields)
}

/** Offer the procedure that the register names, and choose it, where a tag is given. */
function offerOwn(fields) {
  const isTold = fields.asset.value.trim() !== '', offered = fields.procedure.querySelector(`option[value=${OF_REGISTER}]`)
  if (isTold && offered === null) {
    fields.procedure.prepend(h('option', { value: OF_REGISTER }, 'the unit’s own, by the register'))
    fields.procedure.value = OF_REGISTER
  } else if (!isTold) offered?.remove()
}

function order(fields) {
  const { value } = fields.procedure, procedure = [OF_REGISTER, OF_RUN].includes(value) ? null : Number(value)
  const given = { procedure, work: fields.work.value, unattended: fields.unattended.checked, accept_expired: fields.expired.checked }
  if (procedure !== null) given.digest = fields.procedure.selectedOptions[0].dataset.digest
  if (fields.asset.value.trim() !== '') given.asset = fields.asset.value.trim()
  const temperature = figureIn(fields.temperature), humidity = figureIn(fields.humidity)
  if (temperature !== null) given.temperature_c = temperature
  if (humidity !== null) given.humidity_percent = humidity
  if (fields.operator.value.trim() !== '') given.operator = fields.operator.value.trim()
  if (fields.workOrder.value.trim() !== '') given.work_order = fields.workOrder.value.trim()
  if (fields.resume.value !== '') given.resume = fields.resume.value
  return given
}
