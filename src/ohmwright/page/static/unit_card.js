// A unit as the register has it, its runs on record, and where its next one is begun.

import { h } from './dom.js'
import { runsOfUnitListed } from './runs_listed.js'
import { dueWords, lastVerdict } from './view_worklist.js'
import { beginLinks } from './where_to_begin.js'

export function unitCard({ asset, work, runs, changes, commands }) {
  return [asset === null ? h('p', { class: 'card' }, 'No unit with this tag is in the register of assets.') : facts(asset, work), runsTable(runs),
    asset === null ? null : h('details', {}, h('summary', {}, 'What was changed in the register'), h('ul', { class: 'notices' }, ...changes.map((words) => h('li', {}, words)))),
    h('details', {}, h('summary', {}, 'To change it in the register'), h('p', {}, 'At a terminal, by whoever answers for it: the register says which units may be worked on.'),
      h('dl', {}, ...commands.flatMap(([when, command]) => [h('dt', {}, when), h('dd', {}, h('code', {}, command))])))]
}

function facts(asset, work) {
  const told = [['Unit', `${asset.maker} ${asset.model}, serial ${asset.serial}`], ['Site', asset.site], ['Owner', asset.owner], ['State', asset.state],
    ['Procedure', asset.procedure], ['Interval', `${asset.interval_months} months`]]
  if (work !== null) told.push(['Due', `${work.is_due ? '▲ ' : ''}${dueWords(work)}`], ['Last', [lastVerdict(work), work.last_on === null ? 'no verdict yet' : ` ${work.last_on}`]])
  return h('dl', { class: 'settings card' }, ...told.map(([name, value]) => h('div', {}, h('dt', {}, name), h('dd', {}, ...[value === '' ? '–' : value].flat()))),
    h('div', {}, h('dt', {}, 'Begin a run at'), h('dd', {}, ...beginLinks(asset))))
}

function runsTable(runs) {
  if (runs.length === 0) return h('p', {}, 'No run of it is on record.')
  const list = runsOfUnitListed()
  list.show(runs)
  return h('div', { class: 'card scroll', tabindex: '0', role: 'region', 'aria-label': 'Its runs on record' }, h('h2', {}, 'Its runs on record'), list.element)
}
