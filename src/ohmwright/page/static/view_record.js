// One run on record: facts, papers, power curves, results.

import { h } from './dom.js'
import { ask } from './link.js'
import { moment, withUncertainty } from './format.js'
import { resultsTable, verdict } from './results.js'
import { all, isBusy } from './store.js'
import { unitAddress } from './unit_columns.js'

export function recordView(run) {
  const element = h('section', {}, h('p', {}, 'Reading…'))
  const why = ({ message }) => [back(), h('h1', {}, run), h('p', { class: 'error' }, message)]
  ask(`/records/${encodeURIComponent(run)}`).then(page).catch(why).then((shown) => element.replaceChildren(...shown.filter((part) => part !== null)))
  return { element, title: () => `Record of ${run}`, update() {} }
}

const back = () => h('p', {}, h('a', { href: '#/records' }, '← the records'))

function page(found) {
  const at = `/records/${encodeURIComponent(found.run_id)}/certificate`
  const table = resultsTable(), busy = all().find((known) => isBusy(known) && known.now.run_id === found.run_id)
  table.update(found.results)
  const facts = [['Unit', `${found.unit}, ${found.asset}`], ['Procedure', found.procedure], ['Begun', `${moment(found.at)}${found.simulated ? ', by its bench’s own clock' : ''}`], ['Bench', found.bench],
    ['Analyzer', found.analyzer], ['Analyzer’s certificate', found.certificate ?? 'none'], ['Operator', found.operator], ...(found.work_order ? [['Work order', found.work_order]] : []),
    ['Room', found.room], ['RF on for', found.rf_on]]
  return [
    back(), h('h1', {}, found.run_id), h('p', {}, h('a', { href: unitAddress(found.asset, found.simulated ? 'simulated' : 'real') }, 'This unit: its runs, and how its output drifts')), h('p', {}, verdict(found.verdict), found.verdict_qualified ? `, ${found.verdict_qualified}` : '',
      found.simulated ? `. SIMULATED, seed ${found.seed}: no evidence about any real unit` : ''),
    found.unsaved ? h('p', { class: 'asked' }, `! ${found.unsaved}`) : null,
    h('dl', { class: 'settings card' }, ...facts.map(([name, value]) => h('div', {}, h('dt', {}, name), h('dd', {}, value)))),
    ...(found.finished ? [] : unfinished(found, busy)),
    found.finished ? h('p', { class: 'row' }, h('a', { class: 'paper', href: `${at}.html`, target: '_blank', rel: 'noopener' }, 'Certificate'),
      h('a', { class: 'paper', href: `${at}.pdf` }, 'Certificate as PDF')) : null,
    ...(busy === undefined ? found.ended_early : []).map((words) => h('p', { class: 'error' }, words)),
    found.interruptions.length ? h('ul', { class: 'notices' }, ...found.interruptions.map((words) => h('li', {}, words))) : null,
    ...(found.curves.length ? [h('h2', {}, 'Power curves'), h('div', { class: 'curves' }, ...found.curves.map((curve) =>
      h('figure', { class: 'card' }, h('img', { src: curve.picture, alt: curve.words }), h('figcaption', {}, curve.title))))] : []),
    ...(found.sweep.length ? [sweep(found.sweep)] : []), table.element,
    found.trims_told ? h('p', { class: 'trims-told' }, `Trims: ${found.trims_told}.`) : null,
    ...(found.remarks.length ? [h('h2', {}, 'Remarks'), h('ul', { class: 'notices' }, ...found.remarks.map((words) => h('li', {}, words)))] : []),
  ]
}

/** Where an unfinished run goes on now, or can go on. */
function unfinished({ run_id: run, bench: name, model }, busy) {
  const benches = all().filter(({ now }) => now.name === name && !now.practice)
  if (busy !== undefined) return [h('p', {}, 'It goes on now at ', h('a', { href: `#/bench/${busy.number}` }, name), '; until its end it has no certificate.')]
  return [h('p', {}, 'The run is not finished; it has no certificate.'), ...benches.filter(({ now }) => now.models.includes(model)).map(({ number }) =>
    h('p', {}, h('a', { href: `#/bench/${number}/run/${encodeURIComponent(run)}` }, `Go on with it at ${name}`)))]
}

const sweep = (points) => h('div', { class: 'card scroll', tabindex: '0', role: 'region', 'aria-label': 'Points of the sweep' }, h('table', {}, h('caption', {}, 'Power curve'),
  h('thead', {}, h('tr', {}, ...['Mode', 'Setting', 'Load', 'Power ± U'].map((name) => h('th', { scope: 'col' }, name)))),
  h('tbody', {}, ...points.map((one) => h('tr', {}, h('td', {}, one.mode), h('td', { class: 'number' }, `${one.setting_w} W`),
    h('td', { class: 'number' }, `${one.load_ohm} ohm`), h('td', { class: 'number' }, `${withUncertainty(one.power_w, one.expanded_w)} W`))))))
