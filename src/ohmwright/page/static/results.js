// Results by stage, step and point, with their verdicts in words and signs.

import { h, put } from './dom.js'
import { STAGES, VERDICTS, withUncertainty } from './format.js'

export function resultsTable() {
  const body = h('tbody'), caption = h('caption', {}, 'Results')
  const element = h('div', { class: 'card scroll', tabindex: '0', role: 'region', 'aria-label': 'Results', hidden: true },
    h('table', { class: 'results' }, caption, h('thead', {}, h('tr', {},
      ...['Verdict', 'Step', 'Point', 'Value ± U', 'Limits', 'Stage'].map((name) => h('th', { scope: 'col' }, name)))), body))
  let shown = null, owner = null, rows = new Map()
  return {
    element,
    /** `asset`: whose they are; empty where the view says it. */
    update(results, asset = '') {
      // called at every frame: only a new list of results is looked at, and rows that stay are kept
      if (results === shown && asset === owner) return
      [shown, owner] = [results, asset]
      element.hidden = results.length === 0
      put(caption, `Results${asset === '' ? '' : ` of ${asset}`}: ${counted(results)}`)
      rows = kept(body, rows, results)
    },
  }
}

/** How many verdicts of each kind the stages have: what did not pass is looked for below. */
function counted(results) {
  const stages = new Map()
  for (const { stage, verdict: name } of results) {
    const counts = stages.get(stage) ?? stages.set(stage, new Map()).get(stage)
    counts.set(name, (counts.get(name) ?? 0) + 1)
  }
  return [...stages].map(([stage, counts]) => `${STAGES[stage]} ${[...counts].map(([name, count]) => `${count} ${name}`).join(', ')}`).join('; ')
}

export const verdict = (name) => h('span', { class: 'verdict', 'data-verdict': name }, `${VERDICTS[name] ?? ''} ${name}`)

/** Have `body` show `results`; `rows` by what they show: those that stay are not made anew. */
function kept(body, rows, results) {
  const next = new Map()
  for (const one of results) {
    let text = JSON.stringify(one)
    while (next.has(text)) text += ' again'
    next.set(text, rows.get(text) ?? row(one))
  }
  for (const [text, element] of rows) if (!next.has(text)) element.remove()
  let at = body.firstChild
  for (const element of next.values()) {
    if (element === at) at = at.nextSibling
    else body.insertBefore(element, at)
  }
  return next
}

function row(one) {
  return h('tr', {},
    h('td', {}, verdict(one.verdict), one.reason ? h('div', { class: 'soft reason' }, one.reason) : ''), h('td', { class: 'step' }, one.step), h('td', { class: 'point' }, one.point, one.trim ? h('div', { class: 'soft' }, `trim ${one.trim}`) : ''),
    h('td', { class: 'number' }, one.said || `${withUncertainty(one.value, one.expanded)} ${one.unit}`), h('td', { class: 'number limits' }, one.limits), h('td', { class: 'stage' }, STAGES[one.stage]))
}
