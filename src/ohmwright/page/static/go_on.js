// A run that was cut short, in the form by which one is begun.

import { h } from './dom.js'
import { moment } from './format.js'

export const OF_RUN = 'run'  // in place of the number of a procedure

/** A run that was cut short, by what a person knows it by. */
export function runOption(run) {
  const option = h('option', { value: run.run_id }, `${run.asset}, begun ${moment(run.begun)} by ${run.operator}, ${run.model}`)
  option.run = run
  return option
}

/** The run that is chosen to go on; null for a new one. */
export const chosenRun = (fields) => fields.resume.selectedOptions[0]?.run ?? null

/** Show unit, procedure and work of the run that is to go on: it goes on as it was begun. */
export function asBegun(fields) {
  const { asset, procedure, work } = fields, run = chosenRun(fields)
  procedure.querySelector(`option[value=${OF_RUN}]`)?.remove()
  for (const field of [asset, procedure, work]) field.disabled = run !== null
  if (run === null) return
  asset.value = ''
  work.value = run.work
  procedure.prepend(h('option', { value: OF_RUN }, run.procedure))
  procedure.value = OF_RUN
}
