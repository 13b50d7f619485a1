// The runs on record, by any words of them.

import { h } from './dom.js'
import { attempt } from './line.js'
import { ask } from './link.js'
import { moment } from './format.js'
import { verdict } from './results.js'

const PAUSE_MS = 250

export function recordsView() {
  const words = h('input', { type: 'search', 'aria-label': 'Search the records', placeholder: 'unit, model, serial number, procedure, verdict, date', oninput: later })
  const list = h('tbody'), said = h('p', { class: 'soft', role: 'status' })
  let timer = null, count = 0
  function later() {
    clearTimeout(timer)
    timer = setTimeout(load, PAUSE_MS)
  }
  async function load() {
    const mine = ++count
    const found = await attempt(() => ask(`/records?words=${encodeURIComponent(words.value)}`))
    if (found === undefined || mine !== count) return
    said.textContent = found.found === 0 ? 'No run on record has these words.' : `${found.found} runs${found.found > found.runs.length ? `; the newest ${found.runs.length} are shown` : ''}`
    list.replaceChildren(...found.runs.map(row))
  }
  load()
  return {
    element: h('section', {}, h('h1', {}, 'Records'), h('label', { class: 'search' }, h('span', {}, 'Search'), words), said,
      h('div', { class: 'card scroll', tabindex: '0', role: 'region', 'aria-label': 'Runs on record' },
        h('table', {}, h('thead', {}, h('tr', {}, ...['Begun', 'Unit', 'Procedure', 'Operator', 'Verdict', 'Run'].map((name) => h('th', { scope: 'col' }, name)))), list))),
    title: () => 'Records', update() {},
  }
}

const row = (run) => h('tr', {}, h('td', {}, moment(run.at)), h('td', {}, `${run.asset}, ${run.model}, ${run.serial}${run.simulated ? ', simulated' : ''}`),
  h('td', {}, run.procedure), h('td', {}, run.operator), h('td', {}, verdict(run.verdict)),
  h('td', {}, h('a', { href: `#/records/${encodeURIComponent(run.run_id)}` }, run.run_id)))
