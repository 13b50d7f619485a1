// What a practice came to: each slip beside what the coach said of it, and what it took.

import { h, redo, set } from './dom.js'
import { duration } from './format.js'
import { isBusy } from './store.js'

export function debriefCard() {
  const element = h('section', { class: 'card debrief', hidden: true, 'aria-label': 'How the practice went' })
  return {
    element,
    update(known) {
      const debrief = isBusy(known) ? null : known.now.debrief
      set(element, 'hidden', debrief === null)
      redo(element, JSON.stringify(debrief), () => (debrief === null ? [] : [
        h('h2', {}, 'How it went'), ...debrief.untrue.map((words) => h('p', { class: 'untrue' }, words)),
        h('p', {}, summary(debrief)),
        debrief.slips.length > 0 ? slips(debrief.slips) : null,
        ...debrief.unfounded.map((words) => h('p', {}, `Said without a slip: ${words}`)),
        debrief.standing === '' ? null : h('p', {}, `Not yet made when it ended: ${debrief.standing}.`),
        debrief.unasked === '' ? null : h('p', {}, `Pressed before anything was asked for: ${debrief.unasked}.`),
        efforts(debrief)]))
    },
  }
}

function summary({ asked, slips: all, noticed, standing }) {
  if (asked === 0) return standing === '' ? 'No presses were asked for.' : 'No presses were made as asked.'
  if (all.length === 0) return `Presses were asked for ${times(asked)}, and each time made as asked.`
  return `Presses were asked for ${times(asked)}, ${times(all.length)} made otherwise; the coach noticed ${noticed} of these.`
}

const table = (caption, names, rows) => h('div', { class: 'scroll', tabindex: '0', role: 'region', 'aria-label': caption },
  h('table', {}, h('caption', {}, caption), h('thead', {}, h('tr', {}, ...names.map((name) => h('th', { scope: 'col' }, name)))), h('tbody', {}, ...rows)))

const times = (number) => number === 1 ? 'once' : `${number} times`

const slips = (all) => table('Slips', ['At', 'Asked for', 'Made', 'What the coach said of it'], all.map((slip) => h('tr', {},
  h('td', { class: 'number' }, `${Math.round(slip.at_s)} s`), h('td', {}, slip.asked),
  h('td', {}, slip.done === 'nothing' ? slip.kind : `${slip.done}: ${slip.kind}`), h('td', {}, said(slip)))))

function said(slip) {
  if (slip.said_after_s === null) return 'Not noticed.'
  const noticed = slip.otherwise ? '◐ Taken for another slip' : slip.noticed ? '● Noticed' : '○ Not noticed; told'
  return `${noticed} after ${Math.round(slip.said_after_s)} s: ${slip.said}`
}

function efforts({ you, practised }) {
  const row = (who, effort) => h('tr', {}, h('td', {}, who), h('td', { class: 'number' }, String(effort.presses)),
    h('td', { class: 'number' }, duration(effort.rf_on_s)), h('td', { class: 'number' }, duration(effort.bench_s)))
  return table('What it took', ['', 'Presses', 'RF on', 'At the bench'], [
    row('you', you), ...(practised === null ? [] : [row('a practised person (simulated)', practised)])])
}
