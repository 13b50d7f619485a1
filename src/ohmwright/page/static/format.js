// Figures and times as text.

const four = new Intl.NumberFormat('en', { minimumSignificantDigits: 4, maximumSignificantDigits: 4, useGrouping: false })

/** A value to four significant digits, as the meter's own display would not show more. */
export const figure = (value) => (value === null || value === undefined ? '–' : four.format(value))

/** A value with its expanded uncertainty, which has two digits. */
export function withUncertainty(value, expanded) {
  if (value === null || value === undefined) return '–'
  if (!expanded) return figure(value)
  const digits = Math.min(6, Math.max(0, 1 - Math.floor(Math.log10(expanded))))
  return `${value.toFixed(digits)} ± ${expanded.toFixed(digits)}`
}

/** A probability in %, never rounded to 0 or 100. */
export function percent(share) {
  if (share < 0.001) return 'less than 0.1 %'
  return share > 0.999 ? 'more than 99.9 %' : `${(100 * share).toFixed(share < 0.1 || share > 0.9 ? 1 : 0)} %`
}

/** Seconds as `7 s`, `3 min 05 s`, `1 h 10 min`. */
export function duration(seconds) {
  const whole = Math.round(seconds)
  if (whole < 60) return `${whole} s`
  if (whole < 3600) return `${Math.floor(whole / 60)} min ${String(whole % 60).padStart(2, '0')} s`
  return `${Math.floor(whole / 3600)} h ${String(Math.floor((whole % 3600) / 60)).padStart(2, '0')} min`
}

export const STAGES = { as_found: 'as found', adjust: 'adjustment', as_left: 'as left' }

/** The sign before each verdict: shape tells it where colour does not. */
export const VERDICTS = {
  pass: '✓', fail: '✗', undecided: '?', 'not measured': '–', unfinished: '…', refused: '!',
}

/** A moment as the time of day here. */
export const clockTime = (text) => new Date(text).toLocaleTimeString('en-GB')

/** A time of the record, as date and time in UTC. */
export const moment = (text) => `${text.slice(0, 10)} ${text.slice(11, 16)} UTC`

/** What those words mean, beneath the list. */
export const GROUNDS = 'Not traceable: no analyzer certificate covers some or all of the values behind it, so that it says how the readings lie, not the output. Analyzer past due: some or all of those values are by it, and how far it had moved since its certificate’s date is not known.'

/** How the verdicts or risks of something in a list are to be qualified, in words. */
export const grounds = (one) => [
  ...(one.not_traceable ? ['not traceable'] : []), ...(one.analyzer_past_due ? ['analyzer past due'] : []),
]
