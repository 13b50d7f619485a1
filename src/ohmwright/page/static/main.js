// The page: its views by the address after `#`, drawn anew with the news.

import { h, put, set } from './dom.js'
import { elsewhereList, elsewhereWords } from './elsewhere.js'
import { enter } from './entry.js'
import { forget, showLine } from './line.js'
import { follow } from './link.js'
import { lostRecords } from './lost_records.js'
import { announce } from './readout.js'
import { inviteButton } from './invite.js'
import { sound, soundButtons } from './sound.js'
import { rfOf } from './rf.js'
import { stopBar, stopMeans } from './stop.js'
import { all, bench, isCutOff, screen, unitWords, watch } from './store.js'
import { themeButton } from './theme.js'
import { benchView } from './view_bench.js'
import { benchesView } from './view_benches.js'
import { campaignView } from './view_campaign.js'
import { practiceView } from './view_practice.js'
import { procedureView } from './view_procedure.js'
import { recordView } from './view_record.js'
import { recordsView } from './view_records.js'
import { unitView } from './view_unit.js'
import { worklistView } from './view_worklist.js'

const VIEWS = [
  [/^#?\/?$/, 'Benches', () => benchesView()],
  [/^#\/bench\/(\d+)$/, 'Benches', (number) => benchView(Number(number))],
  [/^#\/bench\/(\d+)\/of\/([^/]+)(?:\/(calibrate|verify))?$/, 'Benches', (number, asset, work) => filledIn(Number(number), { asset: decodeURIComponent(asset), work })],
  [/^#\/bench\/(\d+)\/run\/(.+)$/, 'Benches', (number, run) => filledIn(Number(number), { run: decodeURIComponent(run) })],
  [/^#\/bench\/(\d+)\/procedure\/(\d+|of\/.+)$/, 'Benches', (number, procedure) => procedureView(Number(number), procedure)],
  [/^#\/worklist$/, 'Worklist', () => worklistView()],
  [/^#\/campaign\/(.+)$/, 'Worklist', (name) => campaignView(decodeURIComponent(name))],
  [/^#\/unit\/([^/]+)\/(simulated|real)$/, 'Worklist', (asset, kind) => unitView(decodeURIComponent(asset), kind === 'simulated' ? 'yes' : 'no')],
  [/^#\/records$/, 'Records', () => recordsView()],
  [/^#\/records\/of\/(.+)$/, 'Records', (asset) => recordsView(decodeURIComponent(asset))],
  [/^#\/records\/(.+)$/, 'Records', (run) => recordView(decodeURIComponent(run))],
  [/^#\/practice$/, 'Practice', () => practiceView()],
]
const LINKS = [['Benches', '#/'], ['Worklist', '#/worklist'], ['Records', '#/records'], ['Practice', '#/practice']]
const place = document.getElementById('view')
let view = null

/** A bench whose form is filled in once: loaded again, the page must not offer that unit again. */
function filledIn(number, wish) {
  history.replaceState(null, '', `#/bench/${number}`)
  return benchView(number, null, null, wish)
}

function route() {
  for (const [form, name, make] of VIEWS) {
    const found = form.exec(location.hash)
    if (found === null) continue
    open(make(...found.slice(1)), name)
    return
  }
  location.hash = '#/'
}

function open(next, name) {
  view?.leave?.()
  forget()
  view = next
  stopMeans(next.bench?.() ?? null)
  place.replaceChildren(...(['Worklist', 'Records'].includes(name) ? [lostRecords()] : []), next.element)
  scrollTo(0, 0)  // the views are to be seen, and not where the one before was scrolled to
  for (const link of document.querySelectorAll('#views a')) set(link, 'aria-current', link.textContent === name ? 'page' : null)
  draw()
}

function draw() {
  view?.update()
  stopMeans(view?.bench?.() ?? null)
  const shown = bench(view?.bench?.() ?? -1) ?? null
  others.update(shown?.number ?? null)
  bar.update()
  showLine()
  sound(shown)
  announce(shown)
  put(number, screen.number === null ? '' : `screen ${screen.number}`)
  document.title = title(shown)
  put(document.getElementById('printed'), printed(shown))
}

/** What a paper of this view says of itself: when it was printed, and what it shows. */
function printed(shown) {
  const when = `Printed ${new Date().toISOString().slice(0, 19).replace('T', ' ')} UTC by ohmwright, as it was then`
  if (shown === null) return `${when}: ${view?.title?.() ?? ''}`
  const { now } = shown
  return `${when}: ${now.name}, ${unitWords(now)}${now.practice ? ', practice' : now.run_id ? `, run ${now.run_id}` : ', no run'}`
}

function title(shown) {
  const name = view?.title?.() ?? 'ohmwright'
  const asked = !isCutOff() && all().some((known) => known.picture.request !== null)
  const rf = [shown === null ? '' : rfOf(shown).words, elsewhereWords(shown?.number ?? null)].filter(Boolean)
  return [`${asked ? '? ' : ''}${name}`, ...rf].join(' · ')
}

const bar = stopBar(), others = elsewhereList()
const number = h('span', { class: 'screen-number' })
document.getElementById('views').append(
  h('span', { class: 'name' }, 'ohmwright'), ...LINKS.map(([name, where]) => h('a', { href: where }, name)))
document.getElementById('tools').append(...soundButtons(), themeButton(), inviteButton(), number)
document.getElementById('stop-bar').append(others.element, bar.element)
watch(draw)
const foot = document.getElementById('foot')  // nothing may stay hidden behind it
new ResizeObserver(() => {
  const room = `${foot.offsetHeight + 16}px`
  document.body.style.setProperty('padding-bottom', room)
  document.documentElement.style.setProperty('scroll-padding-bottom', room)  // nor what gets the focus
}).observe(foot)

/** `before`: what became of the server that admitted this browser. */
function notAdmitted(before) {
  view?.leave?.()
  view = null
  place.replaceChildren(h('section', { class: 'card narrow' },
    h('h1', {}, 'This browser was not admitted'), h('p', { hidden: before === '' }, before),
    h('p', {}, 'Open the page by the whole address that the command ', h('code', {}, 'ohmwright page'),
      ' printed last, or have a screen that is admitted add this one. Each address admits one browser.')))
  draw()
}

addEventListener('hashchange', () => {
  if (location.hash.includes('token=')) location.reload()  // an address given to this very tab, also before it knows that its server was begun anew
  else if (view !== null) { route(); place.focus({ preventScroll: true }) }
})
if (await enter()) {
  route()
  await follow()  // till the server was begun anew and knows this browser no more: nothing is known of RF then
  notAdmitted('The server knows it no more: mostly it was begun anew. See at the benches whether RF is off. Runs that were cut short can go on.')
} else notAdmitted('')
