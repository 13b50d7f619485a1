// What this screen knows: each bench as the server told it last, and what was read of late.

const WINDOW_S = 60
const MOST_READINGS = 1200
const GAP_S = 2

const benches = new Map()
const watchers = new Set()
let due = false

// `toldAt`: when the server said its last word, by its own clock; it goes back with each order
export const screen = { number: null, heard: 0, heardAt: 0, toldAt: null, line: 'opening', benches: null }

/** The benches in their order. */
export const all = () => [...benches.values()].sort((a, b) => a.number - b.number)
export const bench = (number) => benches.get(number)

/** Whether each bench was told of: they come one by one, and a frame may be drawn between two. */
export const allAreTold = () => benches.size === screen.benches

/** The unit of a bench; one that serves many has none before its first run. */
export const unitWords = (now) => (now.asset === '' ? 'Any unit of the register, by its tag' : `${now.unit}, ${now.asset}`)

/** Call `watcher` once before the next frame after news; returns what ends that. */
export function watch(watcher) {
  watchers.add(watcher)
  return () => watchers.delete(watcher)
}

/** Have every watcher look again. */
export function changed() {
  if (due) return
  due = true
  // a tab in the background draws no frame, and its sound and titles go on
  const later = document.hidden ? (work) => setTimeout(work, 200) : requestAnimationFrame
  later(() => {
    due = false
    for (const watcher of [...watchers]) watcher()
  })
}

/** Take one message of the stream. */
export function take(kind, data) {
  [screen.heard, screen.heardAt, screen.toldAt] = [performance.now(), Date.now(), data.at_s]
  if (kind === 'hello') {
    benches.clear()
    screen.number = data.screen
    screen.benches = data.benches
  } else if (kind === 'bench') {
    takeBench(data)
  }
  if (screen.line !== 'open') screen.line = 'open'
  changed()
}

function takeBench(data) {
  let known = benches.get(data.bench)
  if (known === undefined || known.run !== data.run) {
    known = { number: data.bench, run: data.run, times: [], currents: [], results: [] }
    benches.set(data.bench, known)
  }
  Object.assign(known, { now: data.now, picture: data.now.picture })
  if (data.results) known.results = withNew(known.results, data.results)
  for (const [time, current] of data.readings) addReading(known, time, current)
  forget(known)
}

/** `results` with those that are new; a point measured again counts once, and the oldest are dropped. */
function withNew(results, { oldest, new: more }) {
  const point = (one) => JSON.stringify([one.stage, one.step, one.point])
  const again = new Set(more.map(point))
  return [...results.filter((one) => one.number >= oldest && !again.has(point(one))), ...more]
}

function addReading(known, time, current) {
  const last = known.times[known.times.length - 1]
  if (last !== undefined && time - last > GAP_S) {
    known.times.push(last + 0.001)
    known.currents.push(null)
  }
  known.times.push(time)
  known.currents.push(current)
}

function forget(known) {
  const from = known.picture.now_s - WINDOW_S
  let old = 0
  while (old < known.times.length && (known.times[old] < from || known.times.length - old > MOST_READINGS)) old += 1
  if (old > 0) {
    known.times.splice(0, old)
    known.currents.splice(0, old)
  }
}

/** How long the server has been silent, in ms; in a computer that slept only the time of day went on. */
export const silentMs = () => Math.max(performance.now() - screen.heard, Date.now() - screen.heardAt)

/** Whether the server has been silent for so long that nothing shown may be taken for the present. */
export const isSilent = () => screen.line !== 'open' || silentMs() > 3000

/** Whether the server was heard once and is silent now. */
export const isCutOff = () => isSilent() && screen.line !== 'opening'

export const commands = (known) => known.now.holder === screen.number
export const mayCommand = (known) => known.now.holder === null || commands(known)
export const isBusy = (known) => ['opening', 'going on', 'stopping'].includes(known.now.state)
