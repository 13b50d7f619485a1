// The units of the register in the order in which they are to be worked on.

import { h, listedRow, listedTable } from './dom.js'
import { GROUNDS, grounds, percent } from './format.js'
import { attempt } from './line.js'
import { ask, post } from './link.js'
import { verdict } from './results.js'
import { all } from './store.js'

const COLUMNS = ['Place', 'Unit', 'Model', 'Site', 'Risk now', 'Within a year', 'Due', 'Last']

export function worklistView() {
  const list = h('tbody'), said = h('p', { class: 'soft', role: 'status' })
  const simulated = h('input', { type: 'checkbox', onchange: () => load() })
  const anew = h('button', { type: 'button', class: 'quiet', onclick: renew }, 'Make the forecast anew')
  const dates = h('p', { class: 'soft', hidden: true }, 'Simulated runs count by the date of their bench’s own clock: one that is older by it than a unit’s newest run changes nothing here.')
  const units = h('div', { class: 'card scroll', tabindex: '0', role: 'region', 'aria-label': 'Units in their order', hidden: true },
    listedTable(COLUMNS, list), h('p', { class: 'soft' }, `Risks marked * come from the forecast, the others from the due date alone. ${GROUNDS}`), dates)
  let begun = false
  const show = (found) => {
    said.textContent = found.units.length === 0 ? 'No unit is in the register.' : `${found.due} of ${found.units.length} units are due.`
    units.hidden = found.units.length === 0
    dates.hidden = !simulated.checked
    list.replaceChildren(...found.units.map((unit, place) => row(unit, place + 1, simulated.checked)))
  }
  async function load() {
    const found = await attempt(() => ask(`/worklist?simulated=${simulated.checked ? 'yes' : 'no'}`))
    if (found !== undefined) show(found)
  }
  async function renew() {
    anew.disabled = true
    said.textContent = 'Learning how the units creep, about a second for each point…'
    const found = await attempt(() => post('/worklist', { simulated: simulated.checked }))
    anew.disabled = false
    if (found === undefined) await load()
    else show(found)
  }
  return {
    element: h('section', {}, h('h1', {}, 'Worklist'), h('p', {}, 'First what is probably out of tolerance now, then by the risk within a year, then by due date and place.'),
      h('div', { class: 'row' }, anew, h('label', { class: 'check' }, simulated, h('span', {}, 'Simulated units'))), said, units),
    title: () => 'Worklist',
    update() {
      if (begun || all().length === 0) return
      begun = true  // a page of simulated benches alone shows their units first
      simulated.checked = all().every((known) => known.now.simulated)
      load()
    },
  }
}

const row = (unit, place, simulated) => listedRow(COLUMNS, [String(place),
  h('a', { href: `#/unit/${encodeURIComponent(unit.tag)}/${simulated ? 'simulated' : 'real'}` }, unit.tag),
  `${unit.model}, ${unit.serial}`, unit.site, marked(unit, risk(unit, unit.risk_now)), marked(unit, risk(unit, unit.risk_within_year)),
  `${unit.is_due ? '▲ ' : ''}${due(unit)}`,
  [lastVerdict(unit), unit.last_on === null ? '' : h('div', { class: 'soft' }, unit.last_on)]])

/** What the last run said; of a unit that only the register says to have passed, that. */
function lastVerdict(unit) {
  if (unit.last_is_told) return 'passed, as told'
  return unit.last_verdict === null ? '' : verdict(unit.last_verdict)
}

function due(unit) {
  if (unit.last_verdict !== 'fail' && unit.probably_out && unit.risk_now !== null) return 'now: probably out'
  return unit.due ?? 'no verdict yet'
}

function risk(unit, share) {
  if (share === null) return 'not known'
  if (unit.last_verdict === 'fail') return 'failed'
  return `${percent(share)}${unit.foretold ? ' *' : ''}`
}

function marked(unit, said) {
  return [said, ...grounds(unit).map((words) => h('div', { class: 'soft' }, words))]
}
