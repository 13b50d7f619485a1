// Results by stage, step and point, with their verdicts in words and signs.

import { h, redo } from './dom.js'
import { STAGES, VERDICTS, figure, withUncertainty } from './format.js'

export function resultsTable() {
  const body = h('tbody'), caption = h('caption', {}, 'Results')
  const element = h('div', { class: 'card scroll', tabindex: '0', role: 'region', 'aria-label': 'Results', hidden: true },
    h('table', {}, caption, h('thead', {}, h('tr', {},
      ...['Verdict', 'Step', 'Point', 'Value ± U', 'Limits', 'Stage'].map((name) => h('th', { scope: 'col' }, name)))), body))
  return {
    element,
    update(results) {
      element.hidden = results.length === 0
      redo(body, JSON.stringify(results), () => results.map(row))
    },
  }
}

export const verdict = (name) => h('span', { class: 'verdict', 'data-verdict': name }, `${VERDICTS[name] ?? ''} ${name}`)

function row(one) {
  const limits = [one.lower, one.upper].every((limit) => limit === null) ? '' :
    `${one.lower === null ? '' : `${figure(one.lower)} to `}${one.upper === null ? 'no upper limit' : figure(one.upper)} ${one.unit}`
  return h('tr', {},
    h('td', {}, verdict(one.verdict), one.verdict !== 'pass' && one.reason ? h('div', { class: 'soft' }, one.reason) : ''), h('td', {}, one.step), h('td', {}, one.point),
    h('td', { class: 'number' }, `${withUncertainty(one.value, one.expanded)} ${one.unit}`), h('td', { class: 'number' }, limits), h('td', {}, STAGES[one.stage]))
}
