// Where the reading stands between its limits: three limit widths to either side of the target.

import { h, put, s, set } from './dom.js'

const WIDTH = 1000, SIDE = 3
const EDGE = 24
const x = (position) => Math.max(EDGE, Math.min(WIDTH - EDGE, (WIDTH / 2) * (1 + position / SIDE)))

const SIGNS = { 'inside the limits': '● ', 'below the limits': '▼ ', 'above the limits': '▲ ' }

/** The side of the target that a reading lies on, in words; until it has settled, how it moves, where that is known. */
export function where({ position, movement }) {
  if (position === null) return 'no reading'
  if (movement !== 'settled') return movement === 'not known' ? '' : movement
  if (Math.abs(position) <= 1) return 'inside the limits'
  return position < 0 ? 'below the limits' : 'above the limits'
}

export function gauge() {
  const pointer = s('path', { class: 'pointer', d: 'M0 44 22 4H-22Z' })
  const drawing = s('svg', { viewBox: `0 0 ${WIDTH} 120`, preserveAspectRatio: 'none', role: 'img' },
    s('rect', { class: 'scale', x: 0, y: 52, width: WIDTH, height: 36, rx: 18 }),
    s('rect', { class: 'inside', x: x(-1), y: 46, width: x(1) - x(-1), height: 48 }),
    s('path', { class: 'limit', d: `M${x(-1)} 40V100M${x(1)} 40V100` }),
    s('path', { class: 'target', d: `M${x(0)} 40V108` }),
    pointer)
  const lower = h('span'), target = h('b'), upper = h('span'), said = h('strong', { class: 'gauge-said' })
  const element = h('div', { class: 'gauge' }, drawing,
    h('div', { class: 'gauge-figures', 'aria-hidden': 'true' }, lower, target, upper), said)
  return {
    element,
    update(picture) {
      const band = picture.band
      set(element, 'hidden', band === null)
      if (band === null) return
      const oneSided = band.target_ma >= band.upper_ma
      const [low, aim, high] = band.figures
      put(lower, low)
      put(target, oneSided ? `at most ${high} mA` : `target ${aim} mA`)
      set(drawing.querySelector('.target'), 'visibility', oneSided ? 'hidden' : 'visible')
      put(upper, high)
      set(pointer, 'visibility', band.position === null ? 'hidden' : 'visible')
      if (band.position !== null) set(pointer, 'transform', `translate(${x(band.position).toFixed(1)} 0)`)
      const place = where(band)
      put(said, band.position === null ? '' : `${SIGNS[place] ?? ''}${place}`)
      const limits = oneSided ? `At most ${high} mA` : `Target ${aim} mA, from ${low} to ${high} mA`
      set(drawing, 'aria-label', `${limits}: ${place}`)
    },
  }
}
