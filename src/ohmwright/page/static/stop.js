// STOP: always there, answers the space bar, and works from every screen.

import { h, put, set } from './dom.js'
import { clockTime } from './format.js'
import { stop } from './link.js'
import { all, bench, changed, isBusy, isCutOff, isSilent, screen } from './store.js'
import { tell } from './line.js'

const AT_THE_UNIT = 'Switch RF off at the unit itself: at its mains switch, or by OFF on the analyzer.'
const ANSWERED_WITHIN_MS = 1500

let shown = null
let unheard = ''
let stopped = []  // what this screen stopped last: it is told how RF was read after it

/** The benches that STOP stops: the one that is shown, else every one with a run, or that may have one. */
const concerned = () => (shown === null ? all() : [bench(shown)]).filter((known) => known !== undefined && (isBusy(known) || isCutOff()))

/** Have STOP mean this bench alone; null for all. */
export function stopMeans(number) {
  shown = number
}

function alarm(words) {
  unheard = words
  changed()
}

/** Stop these benches; what was not heard is said at once, and stays until a STOP is heard. */
export async function stopThese(which) {
  if (isCutOff()) alarm('STOP IS NOT HEARD: the server is silent.')
  const waiting = setTimeout(() => alarm('STOP IS NOT ANSWERED YET.'), ANSWERED_WITHIN_MS)
  const done = await Promise.allSettled(which.map((known) => stop(known.number)))
  clearTimeout(waiting)
  const refused = done.find((one) => one.status === 'rejected')
  if (refused !== undefined) alarm(`STOP WAS NOT HEARD: ${refused.reason.message}`)
  else if (which.length > 0) {
    stopped = which.map(({ number, run }) => ({ number, run }))
    alarm('')
    tell('STOP was heard.')
  }
}

const stopNow = () => stopThese(concerned())

/** What STOP stops, by bench and unit. */
function named(which) {
  const names = which.map(({ now }) => `${now.name}, ${now.asset}`)
  return names.length > 1 ? `all ${names.length} runs: ${names.join('; ')}` : names.join()
}

/** How RF was read last at a bench that was stopped from here. */
function afterStop({ now, picture }) {
  if (isSilent()) return `${now.name}: RF NOT KNOWN HERE.`
  if (now.rf_off_at !== null && picture.rf.state === 'off' && !now.error?.rf_unknown) return `${now.name}: RF read as off at ${clockTime(now.rf_off_at)}.`
  return picture.rf.state === 'not read' ? `${now.name}: RF was not read.` : `${now.name}: RF MAY BE ON, not read as off.`
}

const isTyping = (target) => target instanceof Element && target.closest('input, select, textarea') !== null

export function stopBar() {
  const words = h('span', { class: 'stop-words' })
  const button = h('button', { type: 'button', class: 'stop', id: 'stop', onclick: stopNow },
    h('b', {}, 'STOP'), words)
  const after = h('p', { class: 'after-stop', role: 'status', hidden: true })
  const loud = h('p', { class: 'unheard', role: 'alert', hidden: true })
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
    element: h('div', {}, loud, after, button),
    update() {
      const which = concerned()
      const stopping = which.length > 0 && which.every((known) => known.now.state === 'stopping')
      set(button, 'data-ready', which.length > 0)
      const told = stopped.map(({ number, run }) => [bench(number), run]).filter(([known, run]) => known?.run === run).map(([known]) => afterStop(known))
      set(after, 'hidden', told.length === 0)
      put(after, told.join(' '))
      set(after, 'data-urgent', which.length === 0 && told.some((words) => words.includes('MAY BE ON')))
      if (which.length === 0 && !isCutOff()) unheard = ''  // the server is there again, and nothing goes on
      set(loud, 'hidden', unheard === '')
      put(loud, unheard === '' ? '' : `${unheard} ${AT_THE_UNIT}`)
      put(words, isCutOff() ? `reaches nothing now. ${AT_THE_UNIT}` : which.length === 0 ? screen.line === 'open' ? 'no run goes on' : 'what goes on is not known here' : stopping ? 'RF goes off…' : `switches RF off: ${shown === null ? named(which) : which[0].now.name} · space bar`)
    },
  }
}
