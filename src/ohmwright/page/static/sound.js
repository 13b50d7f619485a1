// Tones: RF is on, how far and on which side the reading is, done, look here. Off until asked for.

import { h, put, set } from './dom.js'
import { loudestLook } from './elsewhere.js'
import { rfOf } from './rf.js'

const ON_TARGET_HZ = 392, OCTAVES_A_LIMIT = 0.25, MOST_LIMITS = 4
let context = null, hum = null, speaks = false
let heard = { cue: '', reading: '', alarm: 0 }

function tone(hz, at, lasts, loudness, shape = 'sine') {
  const oscillator = new OscillatorNode(context, { type: shape, frequency: hz })
  const gain = new GainNode(context, { gain: 0 })
  oscillator.connect(gain).connect(context.destination)
  const begin = context.currentTime + at
  gain.gain.setValueAtTime(0, begin)
  gain.gain.linearRampToValueAtTime(loudness, begin + 0.01)
  gain.gain.setValueAtTime(loudness, begin + lasts - 0.02)
  gain.gain.linearRampToValueAtTime(0, begin + lasts)
  oscillator.start(begin)
  oscillator.stop(begin + lasts)
}

/** The pitch of a reading: the target's own on target, higher above it and lower below. */
export const pitch = (position) =>
  ON_TARGET_HZ * 2 ** (OCTAVES_A_LIMIT * Math.max(-MOST_LIMITS, Math.min(MOST_LIMITS, position)))

const TUNES = {
  done: () => [587, 880].forEach((hz, place) => tone(hz, 0.16 * place, 0.3, 0.25)),
  notice: () => [0, 0.18].forEach((at) => tone(185, at, 0.12, 0.3, 'triangle')),
  press: () => tone(587, 0, 0.09, 0.2, 'triangle'),
  hold: () => {}, rest: () => {},
}

function humWhile(on) {
  if (on === (hum !== null)) return
  if (on) {
    const oscillator = new OscillatorNode(context, { type: 'triangle', frequency: 98 })
    const gain = new GainNode(context, { gain: 0.06 })
    oscillator.connect(gain).connect(context.destination)
    oscillator.start()
    hum = oscillator
  } else {
    hum.stop()
    hum = null
  }
}

/** Sound what has changed at the bench that is shown; null for none: RF at every bench then. */
export function sound(known) {
  if (context === null) return
  const look = known === null ? loudestLook() : rfOf(known).look, now = performance.now()
  humWhile(look === 'on')
  if (look === 'unknown' && now - heard.alarm > 1500) {
    heard.alarm = now
    tone(740, 0, 0.25, 0.35, 'square')
    tone(554, 0.3, 0.25, 0.35, 'square')
  }
  if (known === null) return
  const cue = known.picture.cue, said = cue === null ? '' : `${cue.kind} ${cue.words}`
  if (said !== heard.cue) {
    heard.cue = said
    if (cue !== null) {
      TUNES[cue.kind]?.()
      say(cue.words)
    }
  }
  const last = known.times.length ? known.times[known.times.length - 1] : ''
  const reading = `${known.number} ${last}`, position = known.picture.band?.position
  if (reading !== heard.reading && look === 'on' && position !== null && position !== undefined) {
    heard.reading = reading
    tone(pitch(position), 0, 0.09, 0.12)
  }
}

function say(words) {
  if (!speaks || !('speechSynthesis' in window)) return
  speechSynthesis.cancel()
  speechSynthesis.speak(new SpeechSynthesisUtterance(words))
}

export function soundButtons() {
  const button = h('button', { type: 'button', class: 'quiet', 'aria-pressed': 'false', onclick: turn }, 'Sound: off')
  const voice = h('button', { type: 'button', class: 'quiet', 'aria-pressed': 'false', onclick: speak }, 'Voice: off')
  async function turn() {
    if (context === null) {
      context = new AudioContext()
    } else {
      humWhile(false)
      const before = context
      context = null
      await before.close()
    }
    set(button, 'aria-pressed', String(context !== null))
    put(button, context === null ? 'Sound: off' : 'Sound: on')
  }
  function speak() {
    speaks = !speaks
    set(voice, 'aria-pressed', String(speaks))
    put(voice, speaks ? 'Voice: on' : 'Voice: off')
  }
  return [button, voice]
}
