// At which benches a run of a unit can be begun.

import { h } from './dom.js'
import { all, isBusy } from './store.js'

/** The benches that have a generator of this model. */
export const benchesFor = (model) => all().filter(({ now }) => !now.practice && now.models.includes(model))

/** What the links show of the benches: they are drawn anew where it is another. */
export const benchesNow = () => JSON.stringify(all().map((one) => [one.now.models, isBusy(one)]))

/** A link to each bench for a unit, its tag filled in there, and `work` where it is given; or why there is none. */
export function beginLinks({ tag, model, state }, work = '') {
  if (state !== 'in service') return [h('span', { class: 'asked' }, `! ${state}`)]
  const benches = benchesFor(model)
  if (benches.length === 0) return [h('span', { class: 'soft' }, 'no bench here')]
  return benches.map((known) => {
    const { number, now } = known, name = `${now.name}${isBusy(known) ? ', in use' : ''}`
    return h('a', { class: 'to-bench', href: `#/bench/${number}/of/${[tag, work].filter(Boolean).map(encodeURIComponent).join('/')}`, 'aria-label': `${name}: begin ${tag}` }, name)
  })
}
