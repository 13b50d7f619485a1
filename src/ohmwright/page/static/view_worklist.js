// The units of the register in the order in which they are to be worked on.

import { h, listedRow, listedTable, redo, set } from './dom.js'
import { GROUNDS, grounds, percent } from './format.js'
import { attempt } from './line.js'
import { ask, post } from './link.js'
import { verdict } from './results.js'
import { all, allAreTold, isBusy } from './store.js'
import { beginLinks, benchesFor } from './where_to_begin.js'

const COLUMNS = ['Unit', 'Model', 'Site', 'Risk now', 'Within a year', 'Due', 'Last', 'Begin at']
const isDue = (unit) => unit.is_due, fitsHere = (unit) => unit.state === 'in service' && benchesFor(unit.model).length > 0
const ONLY = { '': ['all', () => true], due: ['due', isDue], 'due here': ['due, and a bench here can take', (unit) => isDue(unit) && fitsHere(unit)],
  here: ['that a bench here can take', fitsHere], repair: ['in repair', (unit) => unit.state === 'in repair'] }
const kept = { words: '', only: '' }  // whoever comes back from a unit finds the same lines again

export function worklistView() {
  const list = h('tbody'), said = h('p', { class: 'soft', role: 'status' })
  const words = h('input', { type: 'search', placeholder: 'tag, maker, model, serial number, site', value: kept.words, oninput: () => { kept.words = words.value; draw() } })
  const only = h('select', { name: 'only', onchange: () => { kept.only = only.value; draw() } }, ...Object.entries(ONLY).map(([value, [name]]) => h('option', { value }, name)))
  only.value = kept.only
  const simulated = h('input', { type: 'checkbox', onchange: () => load() })
  const anew = h('button', { type: 'button', class: 'quiet', onclick: renew }, 'Make the forecast anew')
  const dates = h('p', { class: 'soft', hidden: true }, 'Simulated runs count by the date of their bench’s own clock: one that is older by it than a unit’s newest run changes nothing here.')
  const sham = h('p', { hidden: true }, 'SIMULATED: by runs on simulated benches, which are no evidence about any real unit')
  const units = h('div', { class: 'card scroll', tabindex: '0', role: 'region', 'aria-label': 'Units in their order', hidden: true }, listedTable(COLUMNS, list), dates)
  let begun = false, known = [], benches = ''
  const show = (found) => {
    known = found.units
    sham.hidden = dates.hidden = !simulated.checked
    draw()
  }
  function draw() {
    const shown = known.filter((unit) => isMeant(unit, words.value) && ONLY[only.value][1](unit))
    const due = `${known.filter((unit) => unit.is_due).length} of ${known.length} units are due`
    const told = known.length === 0 ? 'No unit is in the register. At a terminal: ohmwright asset import FILE brings in a spreadsheet (ohmwright guide assets).' : shown.length === known.length ? `${due}.`
      : shown.length === 0 ? `No unit of the list is like that; ${due}. Withdrawn units are not in it. ` : `${shown.length} shown; ${due}.`
    const tag = words.value.trim(), isOneWord = shown.length === 0 && /^\S+$/.test(tag)
    redo(said, JSON.stringify([told, isOneWord && tag, simulated.checked]), () => [told, isOneWord ? unitLink(tag, `What the register has of ${tag}`) : null])
    set(units, 'hidden', shown.length === 0)
    redo(list, JSON.stringify([shown, simulated.checked, benches]), () => shown.map((unit) => row(unit, simulated.checked)))
  }
  async function load() {
    const found = await attempt(() => ask(`/worklist?simulated=${simulated.checked ? 'yes' : 'no'}`))
    if (found !== undefined) show(found)
  }
  async function renew() {
    anew.disabled = true
    redo(said, 'learning', () => ['Learning how the units creep, about a second for each point…'])
    const found = await attempt(() => post('/worklist', { simulated: simulated.checked }))
    anew.disabled = false
    if (found === undefined) await load()
    else show(found)
  }
  const unitLink = (tag, text) => h('a', { href: unitAddress(tag, simulated.checked) }, text)
  return {
    element: h('section', {}, h('h1', {}, 'Worklist'),
      h('div', { class: 'row search' }, h('label', {}, h('span', {}, 'Find a unit'), words), h('label', {}, h('span', {}, 'Units'), only)), said, sham,
      h('details', {}, h('summary', {}, 'The order, the marks, and the forecast'), h('p', {}, 'First what failed and has not passed since, then what is probably out of tolerance now, then by the risk within a year, then by due date and place.'),
      h('p', { class: 'soft' }, `A risk with ~ is reckoned from the due date alone, one without from the forecast. ${GROUNDS} As told: somebody said so, and no run here does.`),
        h('div', { class: 'row' }, anew, h('label', { class: 'check' }, simulated, h('span', {}, 'By runs on simulated benches')))), units),
    title: () => 'Worklist',
    update() {
      if (!allAreTold()) return
      const now = JSON.stringify(all().map((one) => [one.now.models, isBusy(one)])), isNews = now !== benches
      benches = now
      if (begun && isNews) draw()
      if (begun) return
      begun = true  // a page of simulated benches alone shows their units first
      simulated.checked = all().every((one) => one.now.simulated)
      load()
    },
  }
}

/** Whether each word that was typed is part of what the unit is known by. */
function isMeant(unit, typed) {
  const text = [unit.tag, unit.maker, unit.model, unit.serial, unit.site].join('\n').toLowerCase()
  return typed.toLowerCase().split(/\s+/).every((word) => text.includes(word))
}

const unitAddress = (tag, simulated) => `#/unit/${encodeURIComponent(tag)}/${simulated ? 'simulated' : 'real'}`

const row = (unit, simulated) => listedRow(COLUMNS, [
  h('a', { href: unitAddress(unit.tag, simulated) }, unit.tag),
  `${unit.model}, ${unit.serial}`, unit.site, marked(unit, risk(unit, unit.risk_now)), marked(unit, risk(unit, unit.risk_within_year)),
  `${unit.is_due ? '▲ ' : ''}${dueWords(unit)}`,
  [lastVerdict(unit), unit.last_on === null ? '' : h('div', { class: 'soft' }, unit.last_on)], beginLinks(unit)])

/** What the last run said; of a unit that only the register says to have passed, that. */
export function lastVerdict(unit) {
  if (unit.last_is_told) return 'passed, as told'
  return unit.last_verdict === null ? '' : verdict(unit.last_verdict)
}

export function dueWords(unit) {
  if (unit.last_verdict !== 'fail' && unit.probably_out && unit.risk_now !== null) return 'now: probably out'
  return unit.due ?? 'no verdict yet'
}

function risk(unit, share) {
  if (share === null) return 'not known'
  if (unit.last_verdict === 'fail') return 'failed'
  return `${unit.foretold ? '' : '~'}${percent(share)}`
}

function marked(unit, said) {
  return [said, ...grounds(unit).map((words) => h('div', { class: 'soft' }, words))]
}
