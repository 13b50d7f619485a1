// RF by word, shape and colour: never taken from this screen's own belief, never older than it says.

import { h, put, s, set } from './dom.js'
import { isSilent } from './store.js'

const SHAPES = {
  off: () => s('circle', { cx: 16, cy: 16, r: 11, fill: 'none', 'stroke-width': 4 }),
  idle: () => s('circle', { cx: 16, cy: 16, r: 11, fill: 'none', 'stroke-width': 4, 'stroke-dasharray': '5 6.5' }),
  on: () => s('circle', { cx: 16, cy: 16, r: 13 }),
  between: () => s('g', {}, s('path', { d: 'M16 3 29 16 16 29 3 16Z', fill: 'none', 'stroke-width': 3 }), s('path', { d: 'M16 3V29L3 16Z' })),
  unknown: () => s('g', {}, s('path', { d: 'M16 2 31 29H1Z', fill: 'none', 'stroke-width': 3 }), s('path', { d: 'M14.4 11h3.2v9h-3.2zM14.4 22h3.2v3.4h-3.2z', stroke: 'none' })),
}

/** How a state looks, from what a person must see first to what can wait. */
export const LOUDEST_FIRST = ['unknown', 'on', 'between', 'off', 'idle']

/** The shape of a look, drawn, since colour never says anything alone. */
export const shapeOf = (look) => s('svg', { viewBox: '0 0 32 32', 'aria-hidden': 'true' }, SHAPES[look]())

/** What is known of RF at a bench as `look`, `words` and `note`. */
export function rfOf(known) {
  const { state, error } = known.now
  if (isSilent()) return { look: 'unknown', words: 'RF NOT KNOWN HERE', note: 'no word from the server' }
  if (error?.rf_unknown) return { look: 'unknown', words: 'RF STATE UNKNOWN', note: 'switch the generator off at its mains switch' }
  const rf = known.picture.rf
  if (state === 'idle') return { look: 'idle', words: 'RF not read', note: 'no run since this server was begun' }
  if (rf.state === 'not read') return state === 'ended' ? { look: 'idle', words: 'RF not read', note: 'the run ended before' } : { look: 'between', words: rf.words, note: '' }
  if (state === 'ended' && rf.state === 'not proved') return { look: 'between', words: rf.words, note: 'when the run ended; that RF is off is not proved' }
  if (state === 'ended' && rf.state === 'off') return { look: 'off', words: 'RF OFF', note: rf.as_told ? 'as told when the run ended' : 'when the run ended; not read since' }
  const look = { off: 'off', on: 'on', 'coming on': 'between', 'going off': 'between', 'not proved': 'between' }[rf.state] ?? 'unknown'
  return { look: rf.urgency === 'alarm' ? 'unknown' : look, words: rf.words, note: rf.note }
}

/** A sign that shows the RF state of a bench; `update` draws it anew. */
export function rfSign() {
  const shape = h('span', { class: 'rf-shape' })
  const words = h('b', { class: 'rf-words' })
  const note = h('span', { class: 'rf-note' })
  const element = h('div', { class: 'rf' }, shape, h('span', {}, words, ' ', note))
  return {
    element,
    update(known) {
      const rf = rfOf(known)
      if (element.dataset.look !== rf.look) shape.replaceChildren(shapeOf(rf.look))
      set(element, 'data-look', rf.look)
      put(words, rf.words)
      put(note, rf.note)
    },
  }
}
