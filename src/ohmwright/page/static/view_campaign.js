// A campaign: how far it is, and where each of its units stands. What is done about a unit by word is noted at a terminal.

import { h, put } from './dom.js'
import { GROUNDS, grounds } from './format.js'
import { ask } from './link.js'
import { listedTable } from './listed.js'
import { verdict } from './results.js'
import { allAreTold } from './store.js'
import { SHAM, unitColumns } from './unit_columns.js'
import { beginLinks, benchesNow } from './where_to_begin.js'

const WORK = { calibrate: 'Each unit is to be measured as found, adjusted, and measured as left.', verify: 'Each unit is to be measured as found, and nothing adjusted.' }
const ONLY = { '': ['all', () => true], left: ['left', (unit) => unit.is_left], free: ['free today', (unit) => unit.is_free], done: ['done', (unit) => unit.verdict !== null] }

const columns = (kind, work) => ({
  ...unitColumns(() => kind),
  State: [(unit) => [unit.verdict === null ? unit.where : verdict(unit.verdict), ...[...grounds(unit), unit.why].filter(Boolean).map((words) => h('div', { class: 'soft' }, words))], (unit) => unit.where],
  By: [(unit) => unit.by, (unit) => unit.by || null],
  Run: [(unit) => (unit.run_id ? [h('a', { href: `#/records/${encodeURIComponent(unit.run_id)}` }, unit.run_id), unit.minutes === null ? '' : h('div', { class: 'soft' }, `${unit.minutes.toFixed(1)} min at the bench`)] : ''), (unit) => unit.minutes],
  'Begin at': [(unit) => (unit.is_free ? beginLinks(unit, work) : '')],
})

export function campaignView(name) {
  const element = h('section', {}, h('p', {}, 'Reading…')), back = () => h('p', {}, h('a', { href: '#/worklist' }, '← the worklist'))
  let shown = null, benches = '', asked = 0
  async function load() {
    const mine = ++asked
    try {
      const found = await ask(`/campaign?name=${encodeURIComponent(name)}`)
      if (mine !== asked) return
      if (shown === null) {
        shown = units(found)
        element.replaceChildren(back(), h('h1', {}, found.name), ...shown.parts)
      }
      shown.show(found, benches)
    } catch ({ message }) {
      if (shown === null) element.replaceChildren(back(), h('h1', {}, name), h('p', { class: 'error' }, message))
    }
  }
  return {
    element, title: () => `Campaign ${name}`,
    update() {
      const now = benchesNow()
      if (!allAreTold() || now === benches) return
      benches = now  // a run that begins or ends changes where units stand, too
      load()
    },
  }
}

function units({ work, simulated, units: first }) {
  const list = listedTable(columns(simulated ? 'simulated' : 'real', work)), none = h('p', { class: 'soft', role: 'status', hidden: true }, 'No unit of the campaign is like that.')
  const card = h('div', { class: 'card scroll', tabindex: '0', role: 'region', 'aria-label': 'Units of the campaign' }, list.element, first.some((unit) => grounds(unit).length > 0) ? h('p', { class: 'soft' }, GROUNDS) : '')
  const far = h('p'), only = h('select', { onchange: () => draw() }, ...Object.entries(ONLY).map(([value, [words]]) => h('option', { value }, words)))
  let known = [], benches = ''
  function draw() {
    const shown = known.filter(ONLY[only.value][1])
    list.show(shown, benches)
    card.hidden = shown.length === 0
    none.hidden = !card.hidden
  }
  return {
    parts: [far, h('p', { class: 'soft' }, WORK[work]),
      ...(simulated ? [h('p', {}, SHAM)] : []),
      h('div', { class: 'row search' }, h('label', {}, h('span', {}, 'Units'), only)), none, card,
      h('p', { class: 'soft' }, 'A run begun here makes its unit done, too. To take, skip, defer or hand over a unit, at a terminal: ', h('code', {}, 'ohmwright guide campaign'))],
    /** `now`: the benches, which the links are drawn by. */
    show(found, now) {
      put(far, found.told);
      [known, benches] = [found.units, now]
      draw()
    },
  }
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
