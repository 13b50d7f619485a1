// Runs on record as a list.

import { h } from './dom.js'
import { grounds, moment } from './format.js'
import { listedTable } from './listed.js'
import { verdict } from './results.js'
import { unitAddress } from './unit_columns.js'

const COLUMNS = {
  Run: [(run) => h('a', { href: `#/records/${encodeURIComponent(run.run_id)}` }, run.run_id), (run) => run.run_id],
  Begun: [(run) => [moment(run.at), run.simulated || run.refused_because ? h('div', { class: 'soft' }, `${run.simulated ? 'simulated, ' : ''}by its bench’s own clock`) : null], (run) => run.at],
  Unit: [(run) => (run.asset ? [h('a', { href: unitAddress(run.asset, run.simulated ? 'simulated' : 'real') }, run.asset), `, ${run.model}, ${run.serial}`] : run.named ? `${run.named}, by the run’s number` : 'not known'), (run) => run.asset || run.named || null],
  Procedure: [(run) => run.procedure, (run) => run.procedure],
  Operator: [(run) => run.operator, (run) => run.operator],
  Verdict: [(run) => [verdict(run.verdict), ...[run.voided ? 'void' : '', ...grounds(run), run.refused_because ?? ''].filter(Boolean).map((words) => h('div', { class: 'soft' }, words))],
    (run) => run.verdict],
}
const { Unit: _, ...OF_ONE_UNIT } = COLUMNS

export const runsListed = () => listedTable(COLUMNS)
export const runsOfUnitListed = () => listedTable(OF_ONE_UNIT)
