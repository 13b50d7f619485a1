// Practice: an invented unit whose keys are on the page.

import { h } from './dom.js'
import { all } from './store.js'

export function practiceView() {
  const element = h('section', {}, h('h1', {}, 'Practice'), h('p', {}, 'Not yet.'))
  return { element, title: () => 'Practice', update() { all() } }
}
