// Light, dark, or as the system has it.

import { h, put } from './dom.js'

const KEY = 'ohmwright-theme'
const NAMES = { auto: 'as the system', light: 'light', dark: 'dark' }
const ORDER = Object.keys(NAMES)
let chosen = 'auto'

function show(theme) {
  chosen = theme
  if (theme === 'auto') delete document.documentElement.dataset.theme
  else document.documentElement.dataset.theme = theme
  dispatchEvent(new Event('theme'))
}

matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => dispatchEvent(new Event('theme')))

export function themeButton() {
  try {
    show(ORDER.includes(localStorage.getItem(KEY)) ? localStorage.getItem(KEY) : 'auto')
  } catch { /* nothing is kept */ }
  const words = () => `Colours: ${NAMES[chosen]}`
  const button = h('button', { type: 'button', class: 'quiet', onclick: next }, words())
  function next() {
    show(ORDER[(ORDER.indexOf(chosen) + 1) % ORDER.length])
    try {
      localStorage.setItem(KEY, chosen)
    } catch { /* nothing is kept */ }
    put(button, words())
  }
  return button
}

/** A colour of the present theme, for what is drawn on a canvas. */
export const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim()
