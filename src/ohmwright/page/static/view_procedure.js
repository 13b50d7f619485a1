// What a procedure would do at a bench: steps, settings, times, and what is to be said of its text.

import { h } from './dom.js'
import { attempt } from './line.js'
import { ask } from './link.js'
import { STAGES, duration } from './format.js'

const OF_UNIT = 'of/'
const SIGNS = { refused: '✗ cannot be done', error: '✗ wrong', warning: '! warning', note: 'i note' }

/** `of`: the number of a procedure, or `of/` with the tag of a unit whose own it is. */
export function procedureView(number, of) {
  const element = h('section', { class: 'procedure' }, h('p', {}, 'Reading…'))
  const where = `/benches/${number}/${of.startsWith(OF_UNIT) ? `unit/procedure?asset=${of.slice(OF_UNIT.length)}&` : `procedures/${of}?`}`
  const load = async (unattended) => {
    const found = await attempt(() => ask(`${where}unattended=${unattended ? 'yes' : 'no'}`))
    if (found !== undefined) element.replaceChildren(...page(found, number, unattended, load))
  }
  load(false)
  return { element, title: () => 'Procedure', update() {} }
}

function page(found, number, unattended, load) {
  const check = h('input', { type: 'checkbox', onchange: (event) => load(event.target.checked) })
  check.checked = unattended
  return [
    h('p', {}, h('a', { href: `#/bench/${number}` }, '← the bench')),
    h('h1', {}, found.title || found.file), h('p', { class: 'soft' }, found.title ? `${found.file}, revision ${found.revision}, for ${found.model}` : 'cannot be read as a procedure'),
    h('label', { class: 'check' }, check, h('span', {}, 'Unattended: nobody stays here to answer questions')),
    h('dl', { class: 'times' }, ...Object.entries(found.stages).map(([stage, of]) =>
      h('div', {}, h('dt', {}, STAGES[stage]), h('dd', {}, `${of.points} ${of.points === 1 ? 'point' : 'points'}, about ${duration(of.expected_s)}`)))),
    findings(found.findings), ...(found.steps.length ? [steps(found.steps)] : []), text(found),
  ]
}

function findings(found) {
  if (found.length === 0) return h('p', { class: 'card' }, '✓ Nothing wrong, and by its files the bench can do it. Whether readings decide a point, the run shows.')
  return h('div', { class: 'card' }, h('h2', {}, 'What is to be said of it'), h('ul', { class: 'findings' }, ...found.map((one) =>
    h('li', { 'data-severity': one.severity }, h('b', {}, `${SIGNS[one.severity]}: `),
      one.line > 0 ? h('a', { href: location.hash, onclick: (event) => { event.preventDefault(); show(one.line) } }, `line ${one.line}`) : '', ' ',
      one.step ? `step ${one.step}: ` : '', one.what))))
}

function show(line) {
  const row = document.getElementById(`line-${line}`)
  row?.scrollIntoView({ block: 'center' })
  row?.focus()
}

function steps(all) {
  return h('ol', { class: 'steps' }, ...all.map((step) => h('li', { class: 'card' },
    h('h3', {}, step.name), h('p', { class: 'soft' }, `${step.kind}; ${step.stages.map((stage) => STAGES[stage]).join(', ')}`),
    step.note ? h('p', {}, step.note) : '',
    h('dl', { class: 'settings' }, ...step.settings.map(([name, value]) => h('div', { class: value.length > 24 ? 'long' : null }, h('dt', {}, name), h('dd', {}, value)))),
    h('p', { class: 'soft' }, [step.times ? `value at ${step.times.age_s} s, rest ${step.times.rest_s} s, RF at most ${step.times.max_on_s} s` : '',
      step.points.length ? `${step.points.length} ${step.points.length === 1 ? 'point' : 'points'}, about ${duration(step.expected_s)} in all` : ''].filter(Boolean).join('; ')))))
}

function text(found) {
  const said = new Map()
  for (const one of found.findings) said.set(one.line, [...(said.get(one.line) ?? []), one])
  const lines = found.text.split('\n')
  return h('div', { class: 'card scroll', tabindex: '0', role: 'region', 'aria-label': 'Text of the procedure' }, h('h2', {}, 'Its text'),
    h('pre', { class: 'text' }, ...lines.map((line, place) => {
      const marks = said.get(place + 1) ?? []
      return h('div', { id: `line-${place + 1}`, class: 'text-line', tabindex: marks.length ? '-1' : null, 'data-severity': marks[0]?.severity },
        h('span', { class: 'line-number', 'aria-hidden': 'true' }, String(place + 1)), h('code', {}, line || ' '),
        ...marks.map((mark) => h('span', { class: 'mark' }, `${SIGNS[mark.severity]}: ${mark.what}`)))
    })))
}
