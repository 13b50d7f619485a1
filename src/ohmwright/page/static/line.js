// One line under the header: the state of the line to the server, and what was refused.

import { h, put, set } from './dom.js'
import { isCutOff } from './store.js'

const element = () => document.getElementById('line')
let told = '', urgent = false, timer = null

/** Show `words` for a while. */
export function tell(words, isUrgent = false) {
  told = words
  urgent = isUrgent
  clearTimeout(timer)
  timer = setTimeout(() => { told = ''; showLine() }, isUrgent ? 60000 : 10000)
  showLine()
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
  set(element(), 'data-urgent', silent || urgent)
  set(element(), 'hidden', words === '')
}
