// Which screen commands a bench, and how the command is asked for and handed over.

import { h, put, redo, set } from './dom.js'
import { attempt, forget } from './line.js'
import { giveOrder } from './link.js'
import { commands, isCutOff, screen } from './store.js'

export function commandBar(number) {
  const element = h('div', { class: 'command' })
  const ask = (what) => attempt(() => giveOrder(`/benches/${number}/command`, { do: what }))
  const button = (words, what) => h('button', { type: 'button', class: 'quiet', onclick: () => ask(what) }, words)
  let before = true
  return {
    element,
    update(known) {
      const { holder, asker, take_over_in_s: left } = known.now, mine = commands(known)
      if (mine && !before) forget()  // that another screen commands may be what was told
      before = mine
      const soon = left === null ? 0 : Math.ceil(left)
      if (isCutOff()) {
        redo(element, 'cut off', () => [h('p', {}, 'The server is silent: which screen commands is not known here.')])
        return
      }
      const key = JSON.stringify([holder, asker, mine, asker === screen.number && soon === 0])
      redo(element, key, () => parts(holder, asker, mine, soon, button))
      const wait = element.querySelector('.wait')
      if (wait !== null) put(wait, `Screen ${holder} is asked; you may take it in ${soon} s.`)
    },
  }
}

function parts(holder, asker, mine, soon, button) {
  if (holder === null) return [h('p', {}, 'No screen is in command; the first to act will be.')]
  if (mine && asker === null) return [h('p', {}, '● This screen commands.'), button('Let another screen command', 'leave')]
  if (mine) return [h('p', { class: 'asked' }, `Screen ${asker} asks for the command.`), button('Hand over', 'hand over'), button('Keep it', 'keep')]
  if (asker === screen.number) {
    return soon > 0 ? [h('p', { class: 'wait' })] : [h('p', {}, `Screen ${holder} has not answered.`), button('Take the command', 'take')]
  }
  return [h('p', {}, `○ Screen ${holder} commands; this one watches.`), button('Ask for the command', 'ask')]
}
