// What a screen reader hears: RF when its state changes, and each new cue or request.

import { put } from './dom.js'
import { elsewhereWords } from './elsewhere.js'
import { rfOf } from './rf.js'

const rf = document.getElementById('say-rf')
const cue = document.getElementById('say-cue')

/** Say what is new at the bench that is shown; null for none: RF at every bench then. */
export function announce(known) {
  put(rf, known === null ? elsewhereWords(null) : rfOf(known).words)
  const { request, cue: told } = known?.picture ?? { request: null, cue: null }
  put(cue, request !== null && request !== undefined ? request.text : told?.words ?? '')
}
