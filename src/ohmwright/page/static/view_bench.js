// One bench: RF, the reading, where it stands, what is asked, what comes next.

import { h, put, redo, set } from './dom.js'
import { duration } from './format.js'
import { gauge } from './gauge.js'
import { instruction } from './instruction.js'
import { livePlot } from './plot.js'
import { commandBar } from './command.js'
import { resultsTable } from './results.js'
import { rfSign } from './rf.js'
import { startForm } from './start.js'
import { allAreTold, bench, changed, isBusy, isSilent, unitWords } from './store.js'
import { stateWords } from './view_benches.js'

/**
 * `extra`: the panel of a unit that is worked on the page; `went`: what is said of a run that ended;
 * `wish`: the unit, with its work, or the run that is to be filled in where a run is begun.
 */
export function benchView(number, extra = null, went = null, wish = null) {
  const parts = {
    name: h('h1'), unit: h('p', { class: 'soft' }), command: commandBar(number), sign: rfSign(),
    age: h('dd'), left: h('dd'), rest: h('dd'), reading: h('output', { class: 'reading', 'aria-label': 'Present current' }),
    gauge: gauge(), said: instruction(number), plot: livePlot({ height: 240 }),
    state: h('p', { class: 'state' }), place: h('p', { class: 'place' }), next: h('p', { class: 'next' }),
    bar: h('progress', { 'aria-label': 'Points done' }), error: h('div', { class: 'error', role: 'alert', hidden: true }),
    notices: h('ul', { class: 'notices' }), alarms: h('div', { class: 'alarms', role: 'alert', hidden: true }), results: resultsTable(), start: startForm(number),
    after: h('div', { class: 'row after-run' }),
  }
  if (wish !== null) parts.start.fillIn(wish)
  parts.digits = h('div', { class: 'digits' }, parts.reading, parts.gauge.element)
  const times = h('dl', { class: 'times' },
    h('div', {}, h('dt', {}, 'RF on for'), parts.age), h('div', {}, h('dt', {}, 'limit in'), parts.left),
    h('div', {}, h('dt', {}, 'rest left'), parts.rest))
  const live = h('div', { class: 'live' }, parts.digits,
    parts.said.element, extra?.element ?? null)
  const element = h('section', { class: extra === null ? 'one-bench' : 'one-bench worked' },
    h('header', { class: 'bench-head' }, h('div', {}, parts.name, parts.unit), parts.command.element),
    h('div', { class: 'rf-row' }, parts.sign.element, times, parts.alarms), parts.error, live,
    parts.plot.element,
    h('div', { class: 'card run' }, h('h2', {}, 'The run'), parts.state, parts.after, parts.notices, parts.bar, parts.place, parts.next),
    went?.element ?? null, parts.start.element, parts.results.element)
  let wasBusy = false
  const rfRow = element.querySelector('.rf-row'), room = new ResizeObserver(() => scrollRoom(`${rfRow.offsetHeight + 8}px`))
  room.observe(rfRow)
  return {
    element, bench: () => number, title: () => bench(number)?.now.name ?? 'Bench',
    leave() {
      parts.said.leave()
      room.disconnect()
      scrollRoom('')
    },
    update() {
      const known = bench(number)
      if (known === undefined) {
        if (allAreTold()) element.replaceChildren(...noSuchBench(number))
        return
      }
      head(parts, known)
      figures(parts, known)
      set(element, 'data-busy', isBusy(known))
      set(element, 'data-ended', known.now.state === 'ended')
      for (const part of [live, times]) set(part, 'hidden', !isBusy(known))
      set(parts.plot.element, 'hidden', !isBusy(known) && known.times.length === 0)
      run(parts, known)
      parts.results.update(known.results, known.now.practice ? '' : known.now.asset)
      parts.start.update(known)
      parts.said.update(known)  // after the form, which may still hold the focus, was hidden
      parts.command.update(known)
      extra?.update(known)
      went?.update(known)
      parts.plot.update(known)
      if (wasBusy && !isBusy(known)) scrollTo(0, 0)  // RF, and how it ended
      wasBusy = isBusy(known)
    },
  }
}

/** An address that was kept may be of a server with more benches. */
const noSuchBench = (number) => [h('h1', {}, `There is no bench ${number} here`), h('p', {}, h('a', { href: '#/' }, 'The benches that are'))]

/** Keep so much room above what is scrolled to: RF stays there, over whatever else is. */
const scrollRoom = (height) => document.documentElement.style.setProperty('scroll-padding-top', height)

function head(parts, { now }) {
  put(parts.name, now.name)
  put(parts.unit, `${unitWords(now)}${now.simulated ? ' · SIMULATED: no evidence about any real unit' : ''}`)
  const { error } = now
  set(parts.error, 'hidden', error === null)
  redo(parts.error, JSON.stringify(error), () => error === null ? [] : [h('b', {}, error.happened), h('p', {}, error.means), h('p', {}, error.do)])
  set(parts.error, 'data-urgent', error?.is_urgent ?? false)
}

function figures(parts, known) {
  const { picture } = known, rf = picture.rf, silent = isSilent()
  parts.sign.update(known)
  const seconds = (value) => (silent || value === null ? '–' : `${value.toFixed(value < 100 ? 1 : 0)} s`)
  put(parts.age, seconds(rf.age_s))
  put(parts.left, seconds(rf.left_s))
  put(parts.rest, seconds(rf.rest_left_s))
  const reading = (!silent && picture.reading) || '–'
  const note = (!silent && picture.reading_note) || ''
  set(parts.digits, 'data-still', reading === '–')
  redo(parts.reading, `${reading} ${note}`, () => [h('span', {}, reading), h('small', {}, ' mA', h('span', { class: 'reading-note' }, note))])
  parts.gauge.update(silent ? { band: null } : picture)
}

function run(parts, known) {
  const { picture } = known
  put(parts.state, stateWords(known))
  after(parts, known)
  set(parts.bar, 'hidden', !isBusy(known))
  set(parts.bar, 'max', picture.points_total || 1)
  set(parts.bar, 'value', picture.points_done)
  put(parts.place, isBusy(known) && picture.stage !== null ? placeWords(picture) : '')
  put(parts.next, isBusy(known) && picture.comes_next ? `Next: ${picture.comes_next}` : '')
  notices(parts, picture.notices.filter(({ words }) => words !== errorWords(known.now)), isBusy(known))
}

/** What ended a run, as it stands among its notices, too: it is told once. */
const errorWords = ({ error }) => (error === null ? '' : [error.happened, error.means, error.do].filter(Boolean).join(' '))

/** What a person should know: in a run the latest alarms stay beside RF, wherever the page is scrolled to; the latest of the others below. */
function notices(parts, all, busy) {
  const alarms = all.filter((one) => one.urgency === 'alarm'), others = all.filter((one) => one.urgency !== 'alarm').slice(-6)
  const items = (list, tag) => list.map(({ urgency, words }) => h(tag, { 'data-urgency': urgency }, urgency === 'alarm' ? '▲ ' : '', words))
  const [above, below] = busy ? [alarms.slice(-2), [...alarms.slice(0, -2), ...others]] : [[], [...alarms, ...others]]
  set(parts.alarms, 'hidden', above.length === 0)
  redo(parts.alarms, JSON.stringify(above), () => items(above, 'p'))
  redo(parts.notices, JSON.stringify(below), () => items(below, 'li'))
}

/** What can be done about a run that has ended. */
function after(parts, { now, picture }) {
  const isOnRecord = now.state === 'ended' && now.run_id !== '' && !now.practice, isCutShort = picture.verdict === null, canGoOn = isCutShort && parts.start.canGoOn(now.run_id)
  set(parts.after, 'hidden', !isOnRecord)
  redo(parts.after, JSON.stringify([isOnRecord, now.run_id, isCutShort, canGoOn]), () => !isOnRecord ? [] : [
    h('a', { href: `#/records/${encodeURIComponent(now.run_id)}` }, isCutShort ? 'Its record' : 'Its record and certificate'),
    canGoOn ? h('button', { type: 'button', class: 'quiet', onclick: () => { parts.start.fillIn({ run: now.run_id }); changed() } }, 'Go on with it…') : null])
}

function placeWords(picture) {
  const mode = picture.mode === null ? '' : `, ${picture.mode}${picture.setting_w === null ? '' : ` ${picture.setting_w} W`}`
  const load = picture.load_ohm === null ? '' : `, ${picture.load_ohm} ohm`
  const stage = { as_found: 'As found', adjust: 'Adjustment', as_left: 'As left' }[picture.stage]
  return `Now: ${stage}, ${picture.step}${mode}${load}. RF on for at most ${duration(Math.ceil(picture.on_s))} so far.`
}
