// STOP: always there, answers the space bar, and works from every screen.

import { h, put, set } from './dom.js'
import { stop } from './link.js'
import { all, bench, isBusy, screen } from './store.js'
import { tell } from './line.js'

let shown = null

/** The benches that STOP stops: the one that is shown, else every one with a run. */
const concerned = () => (shown === null ? all() : [bench(shown)]).filter((known) => known !== undefined && isBusy(known))

/** Have STOP mean this bench alone; null for all. */
export function stopMeans(number) {
  shown = number
}

const ANSWERED_WITHIN_MS = 1500

async function stopNow() {
  const which = concerned()
  const waiting = setTimeout(() => tell('STOP IS NOT ANSWERED YET. Switch off at the bench.', true), ANSWERED_WITHIN_MS)
  const done = await Promise.allSettled(which.map((known) => stop(known.number)))
  clearTimeout(waiting)
  if (done.every((one) => one.status === 'fulfilled')) tell('STOP was heard.')
  for (const one of done) if (one.status === 'rejected') tell(`STOP WAS NOT HEARD: ${one.reason.message} Switch off at the bench.`, true)
}

const isTyping = (target) => target instanceof Element && target.closest('input, select, textarea') !== null

export function stopBar() {
  const words = h('span', { class: 'stop-words' })
  const button = h('button', { type: 'button', class: 'stop', id: 'stop', onclick: stopNow },
    h('b', {}, 'STOP'), words)
  addEventListener('keydown', (event) => {
    if (event.code !== 'Space' || event.repeat || event.ctrlKey || event.altKey || event.metaKey) return
    if (isTyping(event.target) || concerned().length === 0) return
    event.preventDefault()
    event.stopImmediatePropagation()
    stopNow()
  }, true)
  addEventListener('keyup', (event) => {  // a button in focus would be pressed by it
    if (event.code === 'Space' && !isTyping(event.target) && concerned().length > 0) event.preventDefault()
  }, true)
  return {
    element: button,
    update() {
      const which = concerned()
      const stopping = which.length > 0 && which.every((known) => known.now.state === 'stopping')
      set(button, 'data-ready', which.length > 0)
      const name = shown === null ? (which.length > 1 ? `all ${which.length} runs` : 'the run') : (bench(shown)?.now.name ?? '')
      put(words, which.length === 0 ? screen.line === 'open' ? 'no run goes on' : 'what goes on is not known here' : stopping ? 'RF goes off…' : `switches RF off: ${name} · space bar`)
    },
  }
}
