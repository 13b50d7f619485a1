// One line above STOP, seen wherever the page is scrolled to: the state of the line to the server, and what was refused.

import { h, put, set } from './dom.js'
import { isCutOff } from './store.js'

const element = () => document.getElementById('line')
let told = '', timer = null

/** Show `words` for a while. */
export function tell(words) {
  told = words
  clearTimeout(timer)
  timer = setTimeout(() => { forget(); showLine() }, 10000)
  showLine()
}

/** Forget what was told: it belongs to the view in which it was told. */
export function forget() {
  told = ''
}

/** Forget these words, where they are what was told last. */
export function unsay(words) {
  if (told === words) forget()
}

/** Do something and tell what was refused of it. */
export async function attempt(work) {
  try {
    return await work()
  } catch (problem) {
    tell(problem.message)
    return undefined
  }
}

export function showLine() {
  const silent = isCutOff()
  const words = silent ? 'No word from the server. What goes on at the benches is not known here; what is shown is old.' : told
  put(element(), words)
  set(element(), 'data-urgent', silent)
  set(element(), 'hidden', words === '')
}
