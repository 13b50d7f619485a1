// The runs on record, by any words of them.

import { h } from './dom.js'
import { attempt } from './line.js'
import { ask } from './link.js'
import { GROUNDS, VERDICTS, grounds } from './format.js'
import { runsListed } from './runs_listed.js'

const PAUSE_MS = 250

/** `asset`: whose runs are searched for at first; empty for all. */
export function recordsView(asset = '') {
  const words = h('input', { type: 'search', 'aria-label': 'Search the records', placeholder: 'run, unit, model, serial number, procedure, operator, date', oninput: later, value: asset })
  const verdicts = h('select', { 'aria-label': 'Verdict', onchange: load }, h('option', { value: '' }, 'any verdict'),
    ...Object.keys(VERDICTS).map((name) => h('option', { value: name }, name)))
  const list = runsListed(), said = h('p', { class: 'soft', role: 'status' }), meant = h('p', { class: 'soft', hidden: true }, GROUNDS)
  let timer = null, count = 0
  function later() {
    clearTimeout(timer)
    timer = setTimeout(load, PAUSE_MS)
  }
  async function load() {
    const mine = ++count
    const found = await attempt(() => ask(`/records?words=${encodeURIComponent(words.value)}&verdict=${encodeURIComponent(verdicts.value)}`))
    if (found === undefined || mine !== count) return
    said.textContent = !found.any ? 'Nothing is on record yet.' : found.found === 0 ? 'No run on record is like that.' : `${found.found} ${found.found === 1 ? 'run' : 'runs'}${found.found > found.runs.length ? `; the newest ${found.runs.length} are shown` : ''}`
    list.show(found.runs)
    meant.hidden = found.runs.every((run) => grounds(run).length === 0)
  }
  load()
  return {
    element: h('section', {}, h('h1', {}, 'Records'), h('div', { class: 'row search' }, h('label', {}, h('span', {}, 'Search'), words), h('label', {}, h('span', {}, 'Verdict'), verdicts)), said,
      h('div', { class: 'card scroll', tabindex: '0', role: 'region', 'aria-label': 'Runs on record' },
        list.element, meant)),
    title: () => 'Records', update() {},
  }
}
