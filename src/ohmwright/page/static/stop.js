// STOP: always there, answers the space bar, and works from every screen.

import { h, put, set } from './dom.js'
import { clockTime } from './format.js'
import { stop } from './link.js'
import { all, bench, changed, isBusy, isCutOff, isSilent, screen } from './store.js'
import { tell } from './line.js'

const AT_THE_UNIT = 'Switch RF off at the unit itself: at its mains switch, or by OFF on the analyzer.'
const BY_FOOT = 'Release the foot switch, and switch the unit off at its mains switch.'
const ANSWERED_WITHIN_MS = 1500, HEARD_AGAIN_MS = 3000

let shown = null
let unheard = '', unheardAt = 0
let stopped = []  // what this screen stopped last: it is told how RF was read after it

const mayRun = (known) => known !== undefined && (isBusy(known) || isCutOff())

/** The benches that the space bar stops: the one that is shown, else every one that may have a run. */
const concerned = () => (shown === null ? all() : [bench(shown)]).filter(mayRun)

/** The benches that STOP stops: those, or, where the one that is shown has no run, all others. */
function meant() {
  const here = concerned()
  return here.length > 0 ? here : all().filter(mayRun)
}

/** Have STOP mean this bench alone; null for all. */
export function stopMeans(number) {
  shown = number
}

function alarm(words) {
  unheard = words
  unheardAt = performance.now()
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

const stopNow = () => stopThese(meant())

/** What STOP stops, by bench and unit. */
function named(which) {
  const names = which.map(({ now }) => [now.name, now.asset].filter(Boolean).join(', '))
  return names.length > 1 ? `all ${names.length} runs: ${names.join('; ')}` : names.join()
}

/** How RF was read last, or by whose word it is off, at a bench that was stopped from here. */
function afterStop({ now, picture }) {
  const { state, as_told: told } = picture.rf
  if (isSilent()) return `${now.name}: RF NOT KNOWN HERE.`
  if (now.rf_off_at !== null && state === 'off' && !now.error?.rf_unknown) return `${now.name}: RF ${told ? 'off as told' : 'read as off'} at ${clockTime(now.rf_off_at)}.`
  if (now.state === 'ended' && state === 'not proved') return `${now.name}: no current ${told ? 'told' : 'read'}; that RF is off is not proved.`
  return state === 'not read' ? `${now.name}: RF was not read.` : `${now.name}: RF MAY BE ON, not ${told ? 'told' : 'read'} as off.`
}

/** How RF ends at these benches by a STOP: by OFF, or by a person who is told to let go. */
function howRfEnds(which, { goes }) {
  const feet = which.filter(({ now }) => now.keyed_by_foot).length
  if (feet === which.length) return goes ? 'release the foot switch…' : 'tells you to release the foot switch'
  if (feet > 0) return goes ? 'RF goes off, or release the foot switch…' : 'switches RF off, or tells you to release the foot switch'
  return goes ? 'RF goes off…' : 'switches RF off'
}

/** What is said of a press that was not heard; the server may be heard again since. */
const unheardWords = () => (!isCutOff() && screen.heard - unheardAt > HEARD_AGAIN_MS ? 'STOP WAS NOT HEARD. The server is heard again: press STOP once more.' : unheard)

/** What is to be done by hand where no STOP is heard. */
const byHand = (which) => (which.some(({ now }) => now.keyed_by_foot) ? BY_FOOT : AT_THE_UNIT)

function barWords(which) {
  if (isCutOff()) return `reaches nothing now. ${byHand(which)}`
  if (which.length === 0) return screen.line === 'open' ? 'no run goes on' : 'what goes on is not known here'
  const isHere = which.every(({ number }) => number === shown)
  const names = isHere ? which[0].now.name : named(which)
  if (which.every(({ now }) => now.state === 'stopping')) return `${howRfEnds(which, { goes: true })}${isHere ? '' : ` ${names}`}`
  return `${howRfEnds(which, { goes: false })}: ${names}${isHere || shown === null ? ' · space bar' : ''}`
}

/** Whether a space belongs to what is typed; in an answer that has not begun it stops, as anywhere. */
function isTyping(target) {
  const field = target instanceof Element ? target.closest('input, select, textarea') : null
  return field !== null && !(field.matches('.typed input') && field.value === '')
}

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
      const which = meant()
      set(button, 'data-ready', which.length > 0)
      const told = stopped.map(({ number, run }) => [bench(number), run]).filter(([known, run]) => known?.run === run).map(([known]) => afterStop(known))
      set(after, 'hidden', told.length === 0)
      put(after, told.join(' '))
      set(after, 'data-urgent', which.length === 0 && told.some((words) => words.includes('MAY BE ON')))
      if (!isCutOff() && which.every(({ now }) => now.state === 'stopping')) unheard = ''  // the server is there again, and nothing goes on, or ends
      set(loud, 'hidden', unheard === '')
      put(loud, unheard === '' ? '' : `${unheardWords()} ${byHand(which)}`)
      put(words, barWords(which))
    },
  }
}
