// Every bench at a glance.

import { h, put, redo, set } from './dom.js'
import { stopThese } from './stop.js'
import { livePlot } from './plot.js'
import { rfSign } from './rf.js'
import { where } from './gauge.js'
import { all, bench, isBusy, isCutOff, unitWords } from './store.js'

export function benchesView() {
  const list = h('ul', { class: 'benches' })
  const cards = new Map()
  return {
    element: h('section', {}, h('h1', {}, 'Benches'), list),
    title: () => 'Benches',
    update() {
      const shown = all().filter((known) => !known.now.practice || isBusy(known))
      redo(list, shown.map((known) => known.number).join(), () => {
        cards.clear()
        return shown.map((known) => {
          const card = benchCard(known.number)
          cards.set(known.number, card)
          return card.element
        })
      })
      for (const known of shown) cards.get(known.number).update(known)
    },
  }
}

function benchCard(number) {
  const sign = rfSign(), plot = livePlot({ height: 72, small: true })
  const name = h('a', { href: bench(number).now.practice ? '#/practice' : `#/bench/${number}` }), unit = h('p', { class: 'soft' })
  const state = h('p', { class: 'state' }), reading = h('p', { class: 'reading small' }), place = h('span', { class: 'soft' })
  const next = h('p', { class: 'asked' })
  const halt = h('button', { type: 'button', class: 'stop small', onclick: () => stopThese([bench(number)]) }, 'STOP')
  return {
    element: h('li', { class: 'card bench' }, h('h2', {}, name), unit, sign.element, reading, place, plot.element, state, next, halt),
    update(known) {
      const { now, picture } = known
      put(name, now.name)
      put(unit, `${unitWords(now)}${now.simulated ? ', simulated' : ''}`)
      sign.update(known)
      for (const part of [reading, place, plot.element]) set(part, 'hidden', !isBusy(known))
      put(reading, `${(!isCutOff() && picture.reading) || '–'} mA`)
      put(place, isCutOff() ? '' : [picture.reading_note, picture.band === null ? '' : where(picture.band)].filter(Boolean).join(', '))
      plot.update(known)
      put(state, stateWords(known))
      put(next, isCutOff() ? '' : picture.request !== null ? `Waits for an answer: ${picture.request.text}` : picture.cue?.words ?? '')
      set(next, 'hidden', next.textContent === '')
      set(halt, 'aria-label', `STOP ${now.name}`)
      set(halt, 'hidden', !isBusy(known))
    },
  }
}

/** What goes on at a bench, in a sentence. */
export function stateWords({ now, picture }) {
  switch (now.state) {
    case 'idle': return 'No run is going on.'
    case 'opening': return 'The instruments are being opened.'
    case 'stopping': return 'The run is being stopped.'
    case 'going on': return `${picture.points_done} of ${picture.points_total} points${picture.left_words ? `, ${picture.left_words}` : ''}. ${picture.procedure}`
    default: return picture.verdict !== null ? `Ended: ${[picture.verdict, picture.verdict_qualified].filter(Boolean).join(', ')}.` : now.error !== null ? `Ended early: ${now.error.happened}` : now.practice ? 'Stopped.' : 'Stopped; it can go on.'
  }
}
