// Practice: a bench whose unit is invented and worked on the page.

import { h } from './dom.js'
import { practicePanel } from './panel.js'
import { all } from './store.js'
import { benchView } from './view_bench.js'

export function practiceView() {
  const place = h('div'), intro = h('p', {}, 'An invented unit, worked with the keys below in real time. Nothing of it is kept.')
  let inner = null
  return {
    element: h('section', {}, intro, place),
    title: () => 'Practice',
    bench: () => inner?.bench() ?? null,
    leave: () => inner?.leave(),
    update() {
      const known = all().find((one) => one.now.practice)
      if (known === undefined) return
      if (inner === null) {
        inner = benchView(known.number, practicePanel(known.number))
        place.append(inner.element)
      }
      inner.update()
    },
  }
}
