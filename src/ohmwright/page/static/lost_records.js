// Records that this computer has seen and that are gone, as where an older copy is in their place: told above what is shown of the others.

import { h } from './dom.js'
import { ask } from './link.js'

export function lostRecords() {
  const element = h('div', { role: 'alert' })
  ask('/lost').then((found) => element.replaceChildren(...found.map((words) => h('p', { class: 'error' }, words)))).catch(() => {})  // the view below tells that the server is silent
  return element
}
