// What is to be run at a bench, and its beginning.

import { h, put, redo, set } from './dom.js'
import { attempt } from './line.js'
import { ask, post } from './link.js'
import { changed, isBusy, mayCommand } from './store.js'

const CAUTION = 'CAUTION: HF output burns and ignites, and the analyzer’s terminals carry high voltage at high frequency. Qualified staff only; the unit disconnected from any patient; maker’s service manual and local codes first; electrical-safety tests before output tests.'

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
    procedure: h('select', { required: true, name: 'procedure', onchange: () => look() }),
    work: h('select', { name: 'work' }, h('option', { value: 'calibrate' }, 'As found, adjust, as left'),
      h('option', { value: 'as found' }, 'Measure as found, adjust nothing')),
    unattended: h('input', { type: 'checkbox', name: 'unattended', onchange: () => look() }),
    expired: h('input', { type: 'checkbox', name: 'expired' }),
    temperature: h('input', { type: 'number', name: 'temperature', min: -10, max: 60, step: 0.1 }),
    humidity: h('input', { type: 'number', name: 'humidity', min: 0, max: 100, step: 1 }),
    resume: h('select', { name: 'resume' }),
    operator: h('input', { type: 'text', name: 'operator', maxlength: 100, autocomplete: 'off', value: keptName(), onchange: () => keepName(fields.operator.value) }),
  }
  const preview = h('a', { href: '#' }, 'What would be done'), begin = h('button', { class: 'begin' }, 'Begin')
  const look = () => set(preview, 'href', `#/bench/${number}/procedure/${fields.procedure.value}`)
  const label = (words, field) => h('label', {}, h('span', {}, words), field)
  const element = h('form', { class: 'card start', hidden: true, onsubmit: (event) => { event.preventDefault(); attempt(() => post(`/benches/${number}/begin`, order(fields)).then(() => { forms.delete(number); scrollTo(0, 0) })) } },
    h('h2', {}, 'Begin a run'), h('p', { class: 'caution' }, CAUTION),
    label('Procedure', fields.procedure), label('Work', fields.work), label('Your name, for the record', fields.operator),
    h('label', { class: 'check' }, fields.unattended, h('span', {}, 'Unattended: nobody stays here to answer questions')),
    h('label', { class: 'check' }, fields.expired, h('span', {}, 'Accept an analyzer past its calibration date')),
    label('Room temperature in °C', fields.temperature), label('Relative humidity in %', fields.humidity),
    label('Go on with', fields.resume), h('div', { class: 'row' }, begin, preview))
  let asked = ''
  return {
    element,
    askAnew() { asked = '' },
    update(known) {
      const free = !isBusy(known)
      set(element, 'hidden', !free)
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
  const fits = (one) => one.problem === '' && one.model === known.now.model
  const chosen = fields.procedure.value, resumed = fields.resume.value
  const offered = known.now.practice ? procedures.filter(fits).sort((a, b) => a.steps - b.steps) : [...procedures].sort((a, b) => fits(b) - fits(a))
  fields.procedure.replaceChildren(...offered.map((one) =>
    h('option', { value: one.number }, `${one.title || one.file}${fits(one) ? '' : one.problem ? ' (has an error)' : ` (for ${one.model})`}`)))
  if (chosen !== '') fields.procedure.value = chosen
  fields.resume.replaceChildren(h('option', { value: '' }, 'nothing: a new run'), ...unfinished.map((run) => h('option', { value: run }, run)))
  fields.resume.value = unfinished.includes(resumed) ? resumed : ''
}

function order(fields) {
  const given = { procedure: Number(fields.procedure.value), work: fields.work.value, unattended: fields.unattended.checked, accept_expired: fields.expired.checked }
  if (fields.temperature.value !== '') given.temperature_c = fields.temperature.valueAsNumber
  if (fields.humidity.value !== '') given.humidity_percent = fields.humidity.valueAsNumber
  if (fields.operator.value.trim() !== '') given.operator = fields.operator.value.trim()
  if (fields.resume.value !== '') given.resume = fields.resume.value
  return given
}
