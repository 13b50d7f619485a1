// A field for a figure, with a comma or a point before its decimals.

import { h } from './dom.js'

// a browser's own field for numbers drops the comma where points are usual: 9,5 became 95
/** `example`: what may be typed, in words. */
export function figureField(name, [least, most], example) {
  const field = h('input', { type: 'text', inputmode: 'decimal', name, autocomplete: 'off', maxlength: 20, oninput: () => check() })
  const check = () => {
    const figure = figureIn(field), fits = figure === null || (figure >= least && figure <= most)
    field.setCustomValidity(fits ? '' : `Type a number from ${least} to ${most}, such as ${example}.`)
  }
  return field
}

/** The figure that was typed; null where nothing was, NaN where it is none. */
export function figureIn(field) {
  const typed = field.value.trim().replace('−', '-')
  if (typed === '') return null
  return /^-?\d+([.,]\d+)?$/.test(typed) ? Number(typed.replace(',', '.')) : NaN
}
