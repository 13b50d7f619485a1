// What the register says of the unit whose tag is in a field, before anything is begun.

import { h, put, set } from './dom.js'
import { attempt } from './line.js'
import { ask } from './link.js'

const PAUSE_MS = 500  // a tag that is still being typed is none

/** A line for what is said of it; `look(tag, isWhole)` asks, at once where the tag has ended. */
export function unitLine(number) {
  const element = h('p', { class: 'unit-line', role: 'status', hidden: true })
  let timer = null, count = 0
  const show = (words, isRefused) => {
    put(element, words)
    set(element, 'data-refused', isRefused)
    set(element, 'hidden', words === '')
    element.scrollIntoView({ block: 'nearest' })  // a refusal must not stay behind STOP
  }
  async function read(tag, mine) {
    const found = await attempt(() => ask(`/benches/${number}/unit?asset=${encodeURIComponent(tag)}`))
    if (found !== undefined && mine === count) show(found.refused === undefined ? unitWords(found) : `! ${found.refused}`, found.refused !== undefined)
  }
  return {
    element,
    look(tag, isWhole = false) {
      const mine = ++count
      clearTimeout(timer)
      show('', false)
      if (tag !== '') timer = setTimeout(() => read(tag, mine), isWhole ? 0 : PAUSE_MS)
    },
  }
}

const unitWords = ({ tag, unit, site, procedure, remarks }) =>
  [`${tag}: ${[unit, site].filter(Boolean).join(', ')}. Its procedure in the register: ${procedure}.`, ...remarks].join(' ')
