// RF at the benches that the view does not show: above STOP, wherever the page is scrolled to.

import { h, put, redo, set } from './dom.js'
import { LOUDEST_FIRST, rfOf, shapeOf } from './rf.js'
import { all, isBusy, isCutOff } from './store.js'

/** The benches of which a person must know here: with a run, or with RF that may be on, as by a run that nobody here has heard of. */
function concerned(shown) {
  return all().filter((known) => known.number !== shown && (isBusy(known) || (isCutOff() ? known.now.state !== 'idle' : !['off', 'idle'].includes(rfOf(known).look))))
}

/** Those benches by what is said of their RF, the loudest first. */
function groups(shown) {
  const found = new Map()
  for (const known of concerned(shown)) {
    const rf = rfOf(known), group = found.get(rf.words) ?? { ...rf, benches: [] }
    group.benches.push({ known, note: rf.note })
    found.set(rf.words, group)
  }
  return [...found.values()].sort((a, b) => LOUDEST_FIRST.indexOf(a.look) - LOUDEST_FIRST.indexOf(b.look))
}

/** RF in words at the benches that are not shown; empty where none has a run. */
export const elsewhereWords = (shown) => groups(shown).map(({ words, benches }) => `${words}: ${benches.map(({ known }) => known.now.name).join(', ')}`).join('; ')

/** The loudest RF state of all benches with a run, for the ear; `off` where none has one. */
export const loudestLook = () => groups(null)[0]?.look ?? 'off'

/** A list with a line for each thing that is said of RF, and a link to each bench. */
export function elsewhereList() {
  const element = h('ul', { class: 'elsewhere', 'aria-label': 'RF at the benches that are not shown' })
  return {
    element,
    update(shown) {
      const found = groups(shown)
      set(element, 'hidden', found.length === 0)
      const key = JSON.stringify(found.map(({ look, words, benches }) => [look, words, benches.map(({ known }) => known.number)]))
      redo(element, key, () => found.map(line))  // notes change by the second, and a link that is being pressed must stay
      const links = element.querySelectorAll('a')
      found.flatMap(({ benches }) => benches).forEach((bench, n) => put(links[n], benchWords(bench)))
    },
  }
}

const line = ({ look, words, benches }) => h('li', { 'data-look': look }, shapeOf(look), h('b', {}, words),
  h('span', {}, ...benches.flatMap(({ known }, n) => [n > 0 ? ' · ' : '', h('a', { href: known.now.practice ? '#/practice' : `#/bench/${known.number}` })])))

function benchWords({ known: { now, picture }, note }) {
  return [now.name, now.asset, note, picture.request === null ? '' : 'waits for an answer'].filter(Boolean).join(', ')
}
