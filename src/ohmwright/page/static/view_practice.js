// Practice: a bench whose unit is invented and worked on the page.

import { h, set } from './dom.js'
import { debriefCard } from './debrief.js'
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
        inner = benchView(known.number, practicePanel(known.number), debriefCard())
        place.append(inner.element)
      }
      set(intro, 'hidden', known.now.state !== 'idle')  // the keys, and how it ended, need the room
      inner.update()
    },
  }
}
