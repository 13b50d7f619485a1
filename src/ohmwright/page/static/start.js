// What is to be run at a bench, and its beginning.

import { h, put, redo, set } from './dom.js'
import { attempt, forget } from './line.js'
import { ask, post } from './link.js'
import { takesScans } from './scan.js'
import { changed, isBusy, mayCommand } from './store.js'

const CAUTION = 'CAUTION: HF output burns and ignites, and the analyzer’s terminals carry high voltage at high frequency. Qualified staff only; the unit disconnected from any patient; maker’s service manual and local codes first; electrical-safety tests before output tests.'

const OF_REGISTER = 'register'  // in place of the number of a procedure
const NAME = 'ohmwright-operator'  // asked for once in a session of the browser

function keptName() {
  try {
    return sessionStorage.getItem(NAME) ?? ''
  } catch {
    return ''
  }
}

function keepName(name) {
  try {
    sessionStorage.setItem(NAME, name.trim())
  } catch { /* it is asked for again */ }
}

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
    temperature: h('input', { type: 'number', name: 'temperature', min: -10, max: 60, step: 0.1 }),
    humidity: h('input', { type: 'number', name: 'humidity', min: 0, max: 100, step: 1 }),
    resume: h('select', { name: 'resume', onchange: changed }),
    operator: h('input', { type: 'text', name: 'operator', maxlength: 100, autocomplete: 'off', value: keptName(), onchange: () => keepName(fields.operator.value) }),
  }
  const preview = h('a', { href: '#' }, 'What would be done'), begin = h('button', { class: 'begin' }, 'Begin')
  const look = () => {
    set(preview, 'href', `#/bench/${number}/procedure/${fields.procedure.value}`)
    set(preview, 'hidden', fields.procedure.value === OF_REGISTER)
  }
  takesScans(fields.asset, () => own())
  const own = () => { offerOwn(fields); look(); changed() }  // the register says by which procedure a unit is worked
  const label = (words, field) => h('label', {}, h('span', {}, words), field)
  const unit = label('Unit: its tag, typed or scanned', fields.asset)
  const element = h('form', { class: 'card start', hidden: true, onsubmit: (event) => { event.preventDefault(); submit() } },
    h('h2', {}, 'Begin a run'), h('p', { class: 'caution' }, CAUTION),
    unit, label('Procedure', fields.procedure), label('Work', fields.work), label('Your name, for the record', fields.operator),
    h('label', { class: 'check' }, fields.unattended, h('span', {}, 'Unattended: nobody stays here to answer questions')),
    h('label', { class: 'check' }, fields.expired, h('span', {}, 'Accept an analyzer past its calibration date')),
    label('Room temperature in °C', fields.temperature), label('Relative humidity in %', fields.humidity),
    label('Go on with', fields.resume), h('div', { class: 'row' }, begin, preview))
  let asked = '', isAsking = false
  const submit = async () => {
    if (isAsking) return  // a button that is pressed twice begins one run
    isAsking = true
    await attempt(async () => {
      await post(`/benches/${number}/begin`, order(fields))
      forms.delete(number)
      fields.asset.value = ''  // what comes to the bench next is another unit
      offerOwn(fields)
      forget()
      scrollTo(0, 0)
    })
    isAsking = false
  }
  return {
    element,
    askAnew() { asked = '' },
    update(known) {
      const free = !isBusy(known)
      set(element, 'hidden', !free)
      const { own_asset: ownAsset, practice } = known.now
      set(unit, 'hidden', practice)
      set(fields.asset, 'placeholder', ownAsset === '' ? '' : `empty: ${ownAsset}`)
      fields.asset.required = ownAsset === '' && !practice && fields.resume.value === ''
      begin.disabled = !mayCommand(known) || fields.procedure.value === ''
      const key = `${known.now.state} ${known.run}`
      if (free && asked !== key) {
        asked = key
        attempt(() => load(number, fields, known).then(look)).then(changed)
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
    h('option', { value: one.number }, `${one.title || one.file}${fits(one) ? '' : one.problem ? ' (has an error)' : ` (for ${one.model})`}`)))
  if (chosen !== '' && chosen !== OF_REGISTER) fields.procedure.value = chosen
  offerOwn(fields)
  fields.resume.replaceChildren(h('option', { value: '' }, 'nothing: a new run'), ...unfinished.map((run) => h('option', { value: run }, run)))
  fields.resume.value = unfinished.includes(resumed) ? resumed : ''
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
  const procedure = fields.procedure.value === OF_REGISTER ? null : Number(fields.procedure.value)
  const given = { procedure, work: fields.work.value, unattended: fields.unattended.checked, accept_expired: fields.expired.checked }
  if (fields.asset.value.trim() !== '') given.asset = fields.asset.value.trim()
  if (fields.temperature.value !== '') given.temperature_c = fields.temperature.valueAsNumber
  if (fields.humidity.value !== '') given.humidity_percent = fields.humidity.valueAsNumber
  if (fields.operator.value.trim() !== '') given.operator = fields.operator.value.trim()
  if (fields.resume.value !== '') given.resume = fields.resume.value
  return given
}
