// The line to the server: a stream of news, and requests.

import { changed, isSilent, screen, silentMs, take } from './store.js'

const KEY = 'ohmwright-screen'
const SILENT_MS = 5000, STOP_WAITS_MS = 500
let key = kept()
let aborter = null

function kept() {
  try {
    return sessionStorage.getItem(KEY) ?? ''
  } catch {
    return ''
  }
}

function keep(value) {
  key = value
  try {
    sessionStorage.setItem(KEY, value)
  } catch { /* a browser that keeps nothing gets a new number at each reload */ }
}

const pause = (ms) => new Promise((done) => setTimeout(done, ms))

/** Ask the server; returns its answer, or throws an Error with the words for a person. */
export async function ask(path, method = 'GET', body = undefined) {
  const headers = { 'x-screen-key': key }
  if (screen.toldAt !== null) headers['x-heard-s'] = screen.toldAt
  if (body !== undefined) headers['content-type'] = 'application/json'
  let answer
  try {
    answer = await fetch(path, { method, headers, body: body === undefined ? undefined : JSON.stringify(body) })
  } catch {
    throw new Error('The server does not answer. What goes on at the benches is not known here.')
  }
  const said = await answer.json().catch(() => ({}))
  if (!answer.ok) throw new Error([said.happened, said.means, said.do].filter(Boolean).join(' ') || `Refused: ${answer.status}.`)
  return said
}

export const post = (path, body = {}) => ask(path, 'POST', body)

/** Give an order to a bench: none while the server is silent, since it would wait there and be obeyed later. */
export async function giveOrder(path, body) {
  if (isSilent()) throw new Error('No word from the server: nothing was sent. Wait until it is heard again, and look before you press.')
  return post(path, body)
}

/**
 * Stop the run of a bench: nothing is sent with it, and any screen may.
 *
 * A browser opens six connections to a server, and the news take one in each tab: a STOP that is not answered at once may wait
 * in the browser for one, and gets that of the news, which are opened anew.
 */
export function stop(number) {
  const letGo = setTimeout(() => aborter?.abort(), STOP_WAITS_MS)
  return ask(`/benches/${number}/stop`, 'POST').finally(() => clearTimeout(letGo))
}

/** Follow the news for ever; returns where this browser was not admitted. */
export async function follow() {
  for (let failures = 0; ; failures += 1) {
    try {
      aborter = new AbortController()
      const answer = await fetch('/news', { headers: { 'x-screen-key': key }, signal: aborter.signal, cache: 'no-store' })
      if (answer.status === 401) return
      if (answer.ok) {
        failures = 0
        await read(answer.body)
      }
    } catch { /* the line is gone: it is opened anew */ }
    screen.line = 'lost'
    changed()
    await pause(Math.min(3000, 250 * 2 ** Math.min(failures, 5)))
  }
}

async function read(body) {
  const reader = body.pipeThrough(new TextDecoderStream()).getReader()
  let rest = ''
  for (;;) {
    const { value, done } = await reader.read()
    if (done) return
    const messages = (rest + value).split('\n\n')
    rest = messages.pop()
    for (const message of messages) hear(message)
  }
}

function hear(message) {
  const at = message.indexOf('\ndata: ')
  const kind = message.slice('event: '.length, at)
  const data = JSON.parse(message.slice(at + '\ndata: '.length))
  if (kind === 'hello') keep(data.key)
  take(kind, data)
}

// a computer that slept has a line that looks open and carries nothing
setInterval(() => {
  if (screen.line === 'open' && silentMs() > SILENT_MS) aborter?.abort()
  changed()
}, 1000)
addEventListener('pagehide', () => aborter?.abort())
