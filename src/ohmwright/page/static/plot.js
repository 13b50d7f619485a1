// The readings of the last minute as a line that moves with the bench's time.

import uPlot from './vendor/uplot/uPlot.js'
import { h } from './dom.js'
import { isBusy } from './store.js'
import { colour } from './theme.js'

const WINDOW_S = 60

function limits(plot, known) {
  const band = known?.picture.band
  if (!band) return
  const { ctx, bbox } = plot
  const top = plot.valToPos(band.upper_ma, 'y', true)
  const bottom = plot.valToPos(band.lower_ma, 'y', true)
  ctx.save()
  ctx.beginPath()
  ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height)
  ctx.clip()
  ctx.fillStyle = colour('--inside')
  ctx.fillRect(bbox.left, top, bbox.width, bottom - top)
  const at = plot.valToPos(band.target_ma, 'y', true)
  ctx.strokeStyle = colour('--soft')
  ctx.setLineDash([8, 6])
  ctx.beginPath()
  ctx.moveTo(bbox.left, at)
  ctx.lineTo(bbox.left + bbox.width, at)
  ctx.stroke()
  ctx.restore()
}

/** Lowest and highest current to be shown: readings and limits, with some room. */
function range(known, low, high) {
  const band = known?.picture.band
  const values = [low, high, band?.lower_ma, band?.upper_ma].filter((v) => v !== null && v !== undefined)
  if (values.length === 0) return [0, 1000]
  const least = Math.min(...values), most = Math.max(...values)
  const room = Math.max(0.1 * (most - least), 0.005 * Math.abs(most), 1)
  return [Math.max(0, least - room), most + room]
}

export function livePlot({ height, small = false }) {
  const element = h('div', { class: small ? 'plot small' : 'plot', role: 'img', 'aria-label': 'Current of the last minute' })
  let plot = null, known = null, drawn = ''
  const axis = (label, more) => ({
    show: !small, label, labelSize: 22, labelFont: '14px system-ui', font: '13px system-ui',
    stroke: () => colour('--ink'), grid: { stroke: () => colour('--line'), width: 1 }, ticks: { stroke: () => colour('--line') }, ...more,
  })
  const make = () => new uPlot({
    width: Math.max(120, element.clientWidth), height, legend: { show: false }, cursor: { show: false }, pxAlign: 0,
    padding: small ? [4, 0, 4, 0] : [8, 8, 0, 0],
    scales: { x: { time: false, range: () => [(known?.picture.now_s ?? 0) - WINDOW_S, known?.picture.now_s ?? 0] }, y: { range: (_, low, high) => range(known, low, high) } },
    axes: [
      axis(() => (known !== null && isBusy(known) ? 'seconds ago' : 'seconds before the end'), { values: (_, ticks) => ticks.map((t) => Math.round(Math.max(0, (known?.picture.now_s ?? 0) - t))) , splits: () => splits(known) }),
      axis('current in mA', { size: 58, values: (_, ticks) => ticks.map(String) }),
    ],
    series: [{}, { stroke: () => colour('--trace'), width: small ? 1.5 : 2, points: { show: false } }],
    hooks: { drawAxes: [(made) => limits(made, known)] },
  }, [[], []], element)
  new ResizeObserver(() => plot?.setSize({ width: Math.max(120, element.clientWidth), height })).observe(element)
  addEventListener('theme', () => plot?.redraw())
  return {
    element,
    update(now) {
      known = now
      const last = now.times.length ? now.times[now.times.length - 1] : 0
      const state = `${now.run} ${now.picture.now_s} ${last}`
      if (state === drawn || !element.isConnected) return
      drawn = state
      plot ??= make()
      plot.setData([now.times, now.currents])
    },
  }
}

function splits(known) {
  const now = known?.picture.now_s ?? 0
  return [60, 45, 30, 15, 0].map((ago) => now - ago)
}
