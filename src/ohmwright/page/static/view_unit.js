// One unit: how each of its points creeps, and when it will leave its limits.

import { creepChart } from './creep_chart.js'
import { h } from './dom.js'
import { figure, grounds, percent, withUncertainty } from './format.js'
import { attempt } from './line.js'
import { ask } from './link.js'
import { unitCard } from './unit_card.js'
import { SHAM, unitAddress } from './unit_columns.js'

export function unitView(asset, simulated) {
  const card = h('div', {}, h('p', {}, 'Reading…')), ahead = h('div', {}, h('p', {}, 'Computing what is to be expected…'))
  const of = `asset=${encodeURIComponent(asset)}&simulated=${simulated}`
  const fill = async (place, path, parts) => {
    const found = await attempt(() => ask(`${path}?${of}`))
    const tag = found?.asset?.tag
    if (tag !== undefined && tag !== asset) location.replace(unitAddress(tag, simulated === 'yes' ? 'simulated' : 'real'))  // typed in other capitals
    else if (found !== undefined) place.replaceChildren(...parts(found).filter((one) => one !== null))
  }
  fill(card, '/unit', unitCard)
  fill(ahead, '/creep', page)
  return {
    element: h('section', {}, h('p', {}, h('a', { href: '#/worklist' }, '← the worklist')), h('h1', {}, asset),
      simulated === 'yes' ? h('p', {}, SHAM) : null, card, ahead),
    title: () => asset, update() {},
  }
}

function page(found) {
  return [h('h2', {}, 'What is to be expected of it'),
    found.points.length > 0 ? h('p', { class: 'soft' }, 'Values on record with U, discs; squares after an adjustment. Ahead: what is expected, within 50 and 90 %. Limits are dashed.')
      : h('p', { class: 'card' }, `Nothing can be foretold: no value with limits is on record of it, as found or as left${found.simulated ? '' : ' at a real bench. Simulated runs do not count here'}.`),
    h('div', { class: 'creep' }, ...found.points.map((point) => card(point, found.at)))]
}

function card(point, at) {
  const words = `Expected on ${at}: ${figure(point.expected)} ${point.unit}, 90 % within ${figure(point.within[0])} to ${figure(point.within[1])}.`
  const begin = Date.UTC(Number(at.slice(0, 4)), 0, 1)
  const today = Number(at.slice(0, 4)) + (Date.parse(at) - begin) / (365.25 * 86400000)
  return h('figure', { class: 'card' }, h('figcaption', {}, h('h2', {}, `${point.step} ${point.point}`), h('p', { class: 'soft' }, [`limits ${point.limits}`, ...grounds(point)].join(', '))),
    creepChart(point, today, `${words} ${leaving(point, at)}`), h('p', {}, words),
    h('p', {}, `${creep(point)} Out of tolerance today: ${percent(point.risk)}.`),
    h('p', { class: 'leaving' }, leaving(point, at)),
    ...point.remarks.map((words) => h('p', { class: 'asked' }, `! ${words}`)))
}

function creep({ rate_percent: rate, rate_percent_sd: sd }) {
  if (rate === null) return 'Creep: never observed, for want of two visits; it is expected to creep as its model does.'
  return `Creep: ${withUncertainty(rate, 2 * sd)} % a year.`
}

function leaving({ risky_out: risky, even_out: even, rate_percent: rate }, at) {
  if (even.on !== null && even.on <= at) return `Probably out of tolerance since ${even.on}.`
  if (risky.on === null && rate === null) return 'When it may leave its limits is not known.'
  if (risky.on === null) return 'It will hardly leave its limits within 5 years.'
  const first = `Will leave its limits: ${percent(risky.probability)} probable by ${risky.on}`
  return even.on === null ? `${first}.` : `${first}, as likely as not by ${even.on}.`
}
