// The front panel of the practice unit: its display, keys and switches.

import { h, put, redo, set } from './dom.js'
import { attempt } from './line.js'
import { giveOrder } from './link.js'
import { isSilent, mayCommand } from './store.js'

const KEYS = [['coarse', 'up', '▲▲'], ['fine', 'up', '▲'], ['coarse', 'down', '▼▼'], ['fine', 'down', '▼']]

export function practicePanel(number) {
  const press = (key, direction) => attempt(() => giveOrder(`/benches/${number}/press`, { key, direction }))
  const turn = (order) => attempt(() => giveOrder(`/benches/${number}/turn`, order))
  const display = h('output', { class: 'unit-display', 'aria-label': 'Display of the unit' })
  const mode = h('select', { 'aria-label': 'Mode' }), setting = h('input', { type: 'number', min: 0, step: 1, 'aria-label': 'Setting in W', placeholder: 'W' })
  const point = h('select', { 'aria-label': 'Adjustment point' })
  const button = (words, work, more = {}) => h('button', { type: 'button', onclick: work, ...more }, words)
  const element = h('fieldset', { class: 'card panel' }, h('legend', {}, 'The unit (invented)'), display,
    h('div', { class: 'panel-keys', role: 'group', 'aria-label': 'Keys of the adjustment' }, ...KEYS.map(([key, direction, sign]) =>
      button([h('span', { 'aria-hidden': 'true' }, sign), ` ${key} ${direction}`], () => press(key, direction), { class: `unit-key ${key}` }))),
    h('div', { class: 'row' }, mode, setting, button('Set', () => turn({ control: 'set', mode: mode.value, setting_w: setting.valueAsNumber || 0 }))),
    h('div', { class: 'row' }, point, button('Service mode', () => turn({ control: 'service', point: point.value })),
      button('Save', () => turn({ control: 'save' })), button('Normal use', () => turn({ control: 'normal' }))))
  return {
    element,
    update(known) {
      const { panel } = known.now
      redo(mode, JSON.stringify(panel.modes), () => panel.modes.map((one) => h('option', { value: one.name }, one.name)))
      redo(point, JSON.stringify(panel.points), () => panel.points.map((one) => h('option', { value: one }, one)))
      put(display, shown(panel.face))
      element.disabled = panel.face === null || isSilent() || !mayCommand(known)
      set(element, 'data-lit', panel.face !== null)
    },
  }
}

function shown(face) {
  if (face === null) return 'off'
  const service = face.in_service ? `SERVICE ${face.point ?? ''}${face.saved ? '' : ', not saved'}` : 'normal use'
  return `${face.mode} ${face.setting_w} W · ${service}${face.alarm ? ' · CONTACT ALARM' : ''}`
}
