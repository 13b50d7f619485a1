// The units of the register in the order in which they are to be worked on.

import { h, redo, set } from './dom.js'
import { GROUNDS, grounds, percent } from './format.js'
import { attempt } from './line.js'
import { ask, post } from './link.js'
import { listedTable } from './listed.js'
import { verdict } from './results.js'
import { all, allAreTold } from './store.js'
import { SHAM, unitAddress, unitColumns } from './unit_columns.js'
import { campaignList } from './view_campaign.js'
import { beginLinks, benchesFor, benchesNow } from './where_to_begin.js'

/** The columns by runs on `kind` benches, simulated or real. */
const columns = (kind) => ({
  ...unitColumns(kind),
  'Risk now': [(unit) => marked(unit, risk(unit, unit.risk_now)), (unit) => riskOrder(unit, unit.risk_now)],
  'Within a year': [(unit) => marked(unit, risk(unit, unit.risk_within_year)), (unit) => riskOrder(unit, unit.risk_within_year)],
  Due: [(unit) => `${unit.is_due ? '▲ ' : ''}${dueWords(unit)}`, (unit) => (isProbablyOut(unit) ? '' : unit.due ?? '')],
  Last: [(unit) => [lastVerdict(unit), unit.last_on === null ? '' : h('div', { class: 'soft' }, unit.last_on)], (unit) => unit.last_on],
  'Begin at': [(unit) => beginLinks(unit)],
})
const isDue = (unit) => unit.is_due, fitsHere = (unit) => unit.state === 'in service' && benchesFor(unit.model).length > 0
const ONLY = { '': ['all', () => true], due: ['due', isDue], 'due here': ['due, and a bench here can take', (unit) => isDue(unit) && fitsHere(unit)],
  here: ['that a bench here can take', fitsHere], repair: ['in repair', (unit) => unit.state === 'in repair'] }
const kept = { words: '', only: '', sort: { by: null, down: false } }  // whoever comes back from a unit finds the same lines again

export function worklistView() {
  const said = h('p', { class: 'soft', role: 'status' })
  const words = h('input', { type: 'search', placeholder: 'tag, maker, model, serial number, site', value: kept.words, oninput: () => { kept.words = words.value; draw() } })
  const only = h('select', { name: 'only', onchange: () => { kept.only = only.value; draw() } }, ...Object.entries(ONLY).map(([value, [name]]) => h('option', { value }, name)))
  only.value = kept.only
  const simulated = h('input', { type: 'checkbox', onchange: () => load() })
  const kind = () => (simulated.checked ? 'simulated' : 'real'), list = listedTable(columns(kind), kept.sort)
  const anew = h('button', { type: 'button', class: 'quiet', onclick: renew }, 'Make the forecast anew')
  const dates = h('p', { class: 'soft', hidden: true }, 'Simulated runs count by the date of their bench’s own clock: one that is older by it than a unit’s newest run changes nothing here.')
  const sham = h('p', { hidden: true }, SHAM)
  const units = h('div', { class: 'card scroll', tabindex: '0', role: 'region', 'aria-label': 'Units', hidden: true }, list.element, dates)
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
    redo(said, JSON.stringify([told, isOneWord && tag, simulated.checked]), () => [told, isOneWord ? h('a', { href: unitAddress(tag, kind()) }, `What the register has of ${tag}`) : null])
    set(units, 'hidden', shown.length === 0)
    list.show(shown, `${kind()} ${benches}`)
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
  return {
    element: h('section', {}, h('h1', {}, 'Worklist'), campaignList(),
      h('div', { class: 'row search' }, h('label', {}, h('span', {}, 'Find a unit'), words), h('label', {}, h('span', {}, 'Units'), only)), said, sham,
      h('details', {}, h('summary', {}, 'The order, the marks, and the forecast'), h('p', {}, 'As it is, where it is not sorted by a column: first what failed and has not passed since, then what is probably out of tolerance now, then by the risk within a year, then by due date and place.'),
      h('p', { class: 'soft' }, `A risk with ~ is reckoned from the due date alone, one without from the forecast. ${GROUNDS} As told: somebody said so, and no run here does.`),
        h('div', { class: 'row' }, anew, h('label', { class: 'check' }, simulated, h('span', {}, 'By runs on simulated benches')))), units),
    title: () => 'Worklist',
    update() {
      if (!allAreTold()) return
      const now = benchesNow(), isNews = now !== benches
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

/** What the last run said; of a unit that only the register says to have passed, that. */
export function lastVerdict(unit) {
  if (unit.last_is_told) return 'passed, as told'
  return unit.last_verdict === null ? '' : verdict(unit.last_verdict)
}

export function dueWords(unit) {
  if (isProbablyOut(unit)) return 'now: probably out'
  return unit.due ?? 'no verdict yet'
}

const isProbablyOut = (unit) => unit.last_verdict !== 'fail' && unit.probably_out && unit.risk_now !== null

/** By what a risk is sorted: one that failed is worse than any, and what is not known is at the end. */
const riskOrder = (unit, share) => (share !== null && unit.last_verdict === 'fail' ? 2 : share)

function risk(unit, share) {
  if (share === null) return 'not known'
  if (unit.last_verdict === 'fail') return 'failed'
  return `${unit.foretold ? '' : '~'}${percent(share)}`
}

function marked(unit, said) {
  return [said, ...grounds(unit).map((words) => h('div', { class: 'soft' }, words))]
}
