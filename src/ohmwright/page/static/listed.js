// Lists as tables: each is sorted by the column whose name is pressed.

import { h, redo, set } from './dom.js'

const { compare } = new Intl.Collator('en', { numeric: true })

/** A list: on a narrow screen a row is a block, each cell with its column's name.
 *
 * `columns`: by its name what stands in a cell, one node or several, and by what it is sorted (null: at the end), where it is.
 * `sort`: by which column; of none the list stands as it is shown.
 */
export function listedTable(columns, sort = { by: null, down: false }) {
  const body = h('tbody'), names = Object.keys(columns)
  const heads = names.map((name) => h('th', { scope: 'col' }, columns[name][1] === undefined ? name : h('button', { type: 'button', onclick: () => press(name) }, name)))
  let items = [], key = ''
  function press(name) {  // up, down, and as it was
    const isAnother = sort.by !== name
    sort.by = !isAnother && sort.down ? null : name
    sort.down = !isAnother && !sort.down
    draw()
  }
  function draw() {
    heads.forEach((head, n) => set(head, 'aria-sort', sort.by === names[n] && (sort.down ? 'descending' : 'ascending')))
    redo(body, JSON.stringify([items, key, sort]), () => (sort.by === null ? items : [...items].sort(order)).map(row))
  }
  function order(one, other) {
    const [a, b] = [one, other].map(columns[sort.by][1])
    if (a === null || b === null) return (a === null) - (b === null)
    return (sort.down ? -1 : 1) * (typeof a === 'number' ? a - b : compare(a, b))
  }
  const row = (item) => h('tr', {}, ...names.map((name) => h('td', { 'data-name': name }, h('div', {}, ...[columns[name][0](item)].flat()))))
  return {
    element: h('table', { class: 'listed' }, h('thead', {}, h('tr', {}, ...heads)), body),
    /** `state`: what else the cells show than the items. */
    show(found, state = '') {
      [items, key] = [found, state]
      draw()
    },
  }
}
