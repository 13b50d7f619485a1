// Admits one more screen by an address that works once.

import { h } from './dom.js'
import { attempt } from './line.js'
import { post } from './link.js'

export const inviteButton = () =>
  h('button', { type: 'button', class: 'quiet', onclick: () => attempt(invite) }, 'Add a screen')

async function invite() {
  const { address, picture } = await post('/screens')
  const dialog = document.getElementById('dialog')
  dialog.replaceChildren(
    h('h2', { id: 'dialog-title' }, 'Add a screen'),
    h('p', {}, 'This address admits one browser within 10 minutes.'),
    h('img', { src: picture, alt: 'The address as a picture for a camera', class: 'code' }),
    h('p', {}, h('code', {}, address)),
    h('form', { method: 'dialog' }, h('button', {}, 'Close')))
  dialog.show()  // not over STOP, as a modal one would be
}
