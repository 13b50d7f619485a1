// What the person is to do: the coach's cue, or a request with its answers.

import { h, put, redo, s, set } from './dom.js'
import { tell, unsay } from './line.js'
import { giveOrder } from './link.js'
import { keptName } from './operator_name.js'
import { rfOf, shapeOf } from './rf.js'
import { bench, isCutOff, isSilent, mayCommand } from './store.js'

const SIGNS = {  // drawn, since not every system has letters of these shapes
  up: 'M32 6 58 54H6Z', down: 'M32 58 6 10H58Z', hold: 'M14 8H26V56H14ZM38 8H50V56H38Z',
  notice: 'M26 6H38L36 40H28ZM27 47H37V57H27Z', done: 'M6 34 16 24 27 36 49 9 59 18 28 54Z', rest: 'M32 6a26 26 0 1 0 .1 0ZM32 16a16 16 0 1 1-.1 0Z',
}
const LARGE = { hold: 'HOLD', notice: 'LOOK', done: 'DONE', rest: 'REST' }
const READING_TIME_MS = 600, MOST_LETTERS = 400  // the second press of a double click comes within half a second, and is no answer to what stands there by then
const TOO_SOON = 'That was pressed as the question came: nothing was answered. Read it, then press.'
const WORD_MS = 1500  // so long after a key that is no answer a letter belongs to the same word: the a of ‘wait’ is not ‘again’

const NEXT_LETTER_MS = 500  // another key so soon after one that answers makes a word of both: the d of ‘did not’ is not "done", nor 12 one
const AT_ONCE = 'pressed'  // the moment of this answer is measured

export function instruction(number) {
  const cue = h('div', { class: 'cue', hidden: true }), asked = h('div', { class: 'request', hidden: true })
  const element = h('div', { class: 'instruction' }, cue, asked)
  let shownAt = 0, strayAt = -Infinity, open = null, place = '', answered = false, told = ''
  const complain = (words) => { told = words; tell(words) }
  const isTooSoon = () => {
    const tooSoon = performance.now() - shownAt < READING_TIME_MS
    if (tooSoon) complain(TOO_SOON)
    return tooSoon
  }
  const say = async (words) => {
    if (open === null || answered || isTooSoon()) return
    const asked = place
    answered = true  // a key that is pressed twice answers once
    try {
      await giveOrder(`/benches/${number}/say`, { number: open.number, words, operator: keptName() })
    } catch (problem) {
      if (place !== asked) return  // of one that is over nothing is to be said
      answered = false
      complain(problem.message)
    }
  }
  let waiting = null
  const sayUnlessInWord = (answer, key) => {
    if (isTooSoon()) return
    const asked = place
    const timer = setTimeout(() => {
      waiting = null
      if (place === asked) say(answer.word)
    }, NEXT_LETTER_MS)
    waiting = { key, timer }
  }
  const onKey = (event) => {
    const typing = event.target instanceof Element && event.target.closest('input, select, textarea') !== null
    if (open === null || typing || event.repeat || event.ctrlKey || event.altKey || event.metaKey) return
    if (event.key.length !== 1 || event.key === ' ') return  // no letter or figure
    const typed = event.key.toLowerCase(), answer = open.answers.find((one) => one.key === typed || one.word === typed)
    if (!mayCommand(bench(number))) {
      if (answer !== undefined) complain(`Nothing was answered: screen ${bench(number).now.holder} commands this bench, and this one watches.`)
      return
    }
    const now = event.timeStamp, inWord = now - strayAt < WORD_MS
    if (waiting?.key === typed) return  // a key that is pressed twice answers once
    if (waiting !== null) {
      const word = `${waiting.key}${typed}`
      clearTimeout(waiting.timer)
      waiting = null
      strayAt = now
      complain(`‘${word}’ was typed as a word: nothing was answered. Wait, then press one key, or use its button.`)
      return
    }
    if (answer === undefined || inWord) strayAt = now
    if (answer !== undefined && !inWord && answer.word === AT_ONCE) say(answer.word)
    else if (answer !== undefined && !inWord) sayUnlessInWord(answer, typed)
    else if (answer !== undefined) complain(`‘${event.key}’ was typed within a word: nothing was answered. Wait, then press one key.`)
    else if (open.answers.length > 0) complain(`‘${event.key}’ is none of the answers.`)
  }
  addEventListener('keydown', onKey)
  const reveal = () => {  // whole, and where that cannot be, its answers: none may stay behind STOP
    if (open === null || !mayCommand(bench(number))) return
    for (const part of [asked, asked.querySelector('.answers, .typed')]) part?.scrollIntoView({ block: 'nearest' })
  }
  addEventListener('resize', reveal)  // a tablet was turned, or shows its keys
  return {
    element,
    leave: () => {
      removeEventListener('keydown', onKey)
      removeEventListener('resize', reveal)
    },
    update(known) {
      const request = known.picture.request
      showCue(cue, request === null && !isCutOff() ? known.picture.cue : null)  // what is asked came later, and an old cue is none
      const now = request === null ? '' : `${known.run} ${request.number}`, isNew = place !== now
      open = request
      place = now
      set(asked, 'hidden', request === null)
      redo(asked, JSON.stringify([request?.number, request?.problem]), () => (request === null ? [] : requestParts(request, say, complain)))
      for (const rf of asked.querySelectorAll('.rf-follows')) showRf(rf, request.rf_words, rfOf(known).look)
      for (const button of asked.querySelectorAll('button')) button.disabled = isSilent() || !mayCommand(known)
      if (!isNew) return
      shownAt = performance.now()
      answered = false
      unsay(told)  // it belongs to the request before
      if (!mayCommand(known) || !isIdle(document.activeElement)) return
      reveal()
      asked.querySelector('.typed input')?.focus({ preventScroll: true })
    },
  }
}

function showCue(element, cue) {
  set(element, 'hidden', cue === null)
  if (cue === null) return
  set(element, 'data-kind', cue.kind)
  redo(element, JSON.stringify(cue), () => [
    sign(cue),
    h('div', {},
      h('p', { class: 'cue-big' }, cue.kind === 'press' && cue.presses > 0 ? `${cue.key} ${cue.direction} ×\u00a0${cue.presses}` : LARGE[cue.kind] ?? ''),
      h('p', { class: 'cue-words' }, cue.words.replace(cue.seen, '').trim()), cue.seen === '' ? null : h('p', { class: 'cue-seen' }, cue.seen)),
  ])
}

const sign = (cue) => s('svg', { viewBox: '0 0 64 64', class: 'cue-sign', 'aria-hidden': 'true' },
  s('path', { d: SIGNS[cue.kind] ?? SIGNS[cue.direction] ?? SIGNS.notice, 'fill-rule': 'evenodd' }))

/** Whether nothing that a person works has the focus, so that a new request may take it: what was hidden keeps it for a while. */
const isIdle = (focused) => focused === null || focused === document.body || focused.id === 'view' || !focused.checkVisibility()

/** What is said of RF beside a request changes while an answer is typed: it must not be lost. */
function showRf(element, words, looks) {
  const look = ['on', 'unknown'].includes(looks) ? looks : 'between'  // RF may come on; by its looks it is on only where it is
  set(element, 'hidden', words === '')
  set(element, 'data-look', look)
  redo(element, JSON.stringify([words, look]), () => [shapeOf(look), h('span', {}, words)])
}

function requestParts(request, say, complain) {
  const parts = [h('p', { class: 'request-text' }, request.text)]
  if (request.problem !== '') parts.push(h('p', { class: 'problem' }, request.problem))
  parts.push(h('p', { class: 'rf-follows' }))
  if (request.how_to_answer !== '') parts.push(typed(request.how_to_answer, say))
  if (request.answers.length > 0) {
    parts.push(h('div', { class: 'answers' }, ...request.answers.map((answer) =>
      h('button', { type: 'button', class: 'answer', onclick: () => say(answer.word) },
        h('b', {}, answer.word), answer.key ? h('kbd', {}, answer.key) : '', answer.meaning ? h('span', {}, answer.meaning) : ''))))
  }
  parts.push(otherwise(request, say, complain))
  return parts
}

function typed(how, say) {
  const input = h('input', { type: 'text', maxlength: 100, autocomplete: 'off', 'aria-label': `Answer: ${how}` })
  return h('form', { class: 'typed', onsubmit: (event) => { event.preventDefault(); say(input.value) } },
    h('label', {}, how, input), h('button', {}, 'Send'))
}

function otherwise(request, say, complain) {
  const words = h('input', { type: 'text', 'aria-label': 'Reason or comment' })  // without a limit that would cut it unseen
  const send = (head) => () => {
    const told = words.value.trim()
    if (told === '') complain('Give the reason, or the comment, first.')
    else if (told.length > MOST_LETTERS) complain(`That has ${told.length} letters, and ${MOST_LETTERS} can be kept: nothing was put on record. Make it shorter.`)
    else say(`${head}${told}`)
  }
  return h('details', {}, h('summary', {}, 'Something else'),
    h('div', { class: 'row' }, words,
      h('button', { type: 'button', class: 'quiet', onclick: send('#') }, 'Comment for the record'),
      ...(request.also.includes('back') ? [
        h('button', { type: 'button', class: 'quiet', onclick: send('skip ') }, 'Skip this step'),
        h('button', { type: 'button', class: 'quiet', onclick: () => say('back') }, 'Step before again')] : [])))
}
