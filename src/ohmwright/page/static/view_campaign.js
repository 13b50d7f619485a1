// A campaign: how far it is, and where each of its units stands. What is done about a unit by word is noted at a terminal.

import { h } from './dom.js'
import { GROUNDS, grounds } from './format.js'
import { ask } from './link.js'
import { listedTable } from './listed.js'
import { verdict } from './results.js'
import { SHAM, unitColumns } from './unit_columns.js'
import { beginLinks } from './where_to_begin.js'

const WORK = { calibrate: 'Each unit is to be measured as found, adjusted, and measured as left.', verify: 'Each unit is to be measured as found, and nothing adjusted.' }
const ONLY = { '': ['all', () => true], left: ['left', (unit) => unit.is_left], free: ['free today', (unit) => unit.is_free], done: ['done', (unit) => unit.verdict !== null] }

const columns = (kind) => ({
  ...unitColumns(() => kind),
  State: [(unit) => [unit.verdict === null ? unit.where : verdict(unit.verdict), ...[...grounds(unit), unit.why].filter(Boolean).map((words) => h('div', { class: 'soft' }, words))], (unit) => unit.where],
  By: [(unit) => unit.by, (unit) => unit.by || null],
  Run: [(unit) => (unit.run_id ? [h('a', { href: `#/records/${encodeURIComponent(unit.run_id)}` }, unit.run_id), unit.minutes === null ? '' : h('div', { class: 'soft' }, `${unit.minutes.toFixed(1)} min at the bench`)] : ''), (unit) => unit.minutes],
  'Begin at': [(unit) => (unit.is_free ? beginLinks(unit) : '')],
})

export function campaignView(name) {
  const element = h('section', {}, h('p', {}, 'Reading…'))
  const back = () => h('p', {}, h('a', { href: '#/worklist' }, '← the worklist'))
  const why = ({ message }) => [back(), h('h1', {}, name), h('p', { class: 'error' }, message)]
  const page = (found) => [back(), h('h1', {}, found.name), ...units(found)]
  ask(`/campaign?name=${encodeURIComponent(name)}`).then(page).catch(why).then((parts) => element.replaceChildren(...parts))
  return { element, title: () => `Campaign ${name}`, update() {} }
}

function units({ told, work, simulated, units: all }) {
  const list = listedTable(columns(simulated ? 'simulated' : 'real')), none = h('p', { class: 'soft', role: 'status', hidden: true }, 'No unit of the campaign is like that.')
  const card = h('div', { class: 'card scroll', tabindex: '0', role: 'region', 'aria-label': 'Units of the campaign' }, list.element, all.some((unit) => grounds(unit).length > 0) ? h('p', { class: 'soft' }, GROUNDS) : '')
  const only = h('select', { onchange: show }, ...Object.entries(ONLY).map(([value, [words]]) => h('option', { value }, words)))
  function show() {
    const shown = all.filter(ONLY[only.value][1])
    list.show(shown)
    card.hidden = shown.length === 0
    none.hidden = !card.hidden
  }
  show()
  return [h('p', {}, told), h('p', { class: 'soft' }, WORK[work]),
    ...(simulated ? [h('p', {}, SHAM)] : []),
    h('div', { class: 'row search' }, h('label', {}, h('span', {}, 'Units'), only)), none, card,
    h('p', { class: 'soft' }, 'A run begun here makes its unit done, too. To take, skip, defer or hand over a unit, at a terminal: ', h('code', {}, 'ohmwright guide campaign'))]
}

/** The campaigns with units left, and the others: a link and a line for each; nothing where there are none. */
export function campaignList() {
  const element = h('div')
  const lines = (found) => h('ul', { class: 'notices' }, ...found.map(({ name, told }) => h('li', {}, h('a', { href: `#/campaign/${encodeURIComponent(name)}` }, told))))
  ask('/campaigns').then((found) => {
    const begun = found.filter(({ left }) => left > 0), over = found.filter(({ left }) => left === 0)
    element.append(...(begun.length > 0 ? [h('h2', {}, 'Campaigns'), lines(begun)] : []),
      ...(over.length > 0 ? [h('details', {}, h('summary', {}, 'Campaigns of which nothing is left'), lines(over))] : []))
  }).catch(() => {})  // the worklist tells that the server is silent
  return element
}
