// How one point of a unit creeps: values on record, limits, and what is to be expected ahead.

import { s } from './dom.js'

const WIDTH = 640, HEIGHT = 250, LEFT = 88, RIGHT = 12, TOP = 12, BOTTOM = 34, LETTERS = 30

/** Return the drawing of a point as the server tells it; `today` is a year with its fraction. */
export function creepChart(point, today, words) {
  const years = [...point.seen, ...point.ahead].map(([year]) => year)
  const values = [point.upper, point.lower ?? point.upper,
    ...point.seen.flatMap(([, value, reach]) => [value - reach, value + reach]), ...point.ahead.flatMap(([, , low, , , high]) => [low, high])]
  const x = scale(Math.min(...years), Math.max(...years), LEFT, WIDTH - RIGHT)
  const room = 0.05 * (Math.max(...values) - Math.min(...values) || 1)
  const y = scale(Math.min(...values) - room, Math.max(...values) + room, HEIGHT - BOTTOM, TOP)
  return s('svg', { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, class: 'creep-chart', role: 'img', 'aria-label': words },
    band(point.ahead, x, y, 2, 5, 'creep-wide'), band(point.ahead, x, y, 3, 4, 'creep-narrow'),
    s('path', { class: 'creep-expected', d: line(point.ahead.map(([year, middle]) => [x(year), y(middle)])) }),
    ...[point.lower, point.upper].filter((limit) => limit !== null).map((limit) => level(x, y(limit), 'creep-limit')),
    s('path', { class: 'creep-today', d: `M${x(today)} ${TOP}V${HEIGHT - BOTTOM}` }),
    ...point.seen.map((one) => mark(one, x, y)),
    ...yearTicks(years, x), ...figures(point, y).map(([figure, at]) => s('text', { x: LEFT - 8, y: at + 4, 'text-anchor': 'end' }, figure)),
    s('text', { x: x(today) - 4, y: TOP + 10, 'text-anchor': 'end' }, 'today'))
}

/** The figures of target and limits, each with its place: where they are too close for their letters the limits part, and the target goes. */
function figures({ lower, target, upper, figures: words }, y) {
  const places = [lower, target, upper].map((value) => (value === null ? null : y(value)))
  if (lower !== null && places[0] - places[2] < 2 * LETTERS) {
    const apart = Math.max(0, (LETTERS - places[0] + places[2]) / 2)
    places.splice(0, 3, places[0] + apart, null, places[2] - apart)
  }
  return places.flatMap((at, n) => (at === null ? [] : [[words[n], at]]))
}

const scale = (from, to, low, high) => (value) => Number((low + ((value - from) / (to - from || 1)) * (high - low)).toFixed(1))
const line = (points) => points.map(([px, py], n) => `${n === 0 ? 'M' : 'L'}${px} ${py}`).join('')
const level = (x, at, name) => s('path', { class: name, d: `M${LEFT} ${at}H${WIDTH - RIGHT}` })

function band(ahead, x, y, low, high, name) {
  const upper = ahead.map((one) => [x(one[0]), y(one[high])]), lower = ahead.map((one) => [x(one[0]), y(one[low])])
  return s('path', { class: name, d: `${line([...upper, ...lower.reverse()])}Z` })
}

/** A value with its interval: a disc, after an adjustment a square. */
function mark([year, value, reach, adjusted], x, y) {
  const at = x(year), to = y(value)
  return s('g', { class: 'creep-value' }, s('path', { d: `M${at} ${y(value - reach)}V${y(value + reach)}` }),
    adjusted ? s('rect', { x: at - 4.5, y: to - 4.5, width: 9, height: 9 }) : s('circle', { cx: at, cy: to, r: 4 }))
}

function yearTicks(years, x) {
  const first = Math.ceil(Math.min(...years)), last = Math.floor(Math.max(...years))
  return Array.from({ length: Math.max(0, last - first + 1) }, (_, n) => first + n).flatMap((year) => [
    s('path', { class: 'creep-tick', d: `M${x(year)} ${HEIGHT - BOTTOM}v5` }),
    s('text', { x: x(year), y: HEIGHT - BOTTOM + 20, 'text-anchor': 'middle' }, String(year))])
}
