// Elements made by code, since the page's policy allows no markup from text.

const SVG = 'http://www.w3.org/2000/svg'

function fill(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes ?? {})) {
    if (value === null || value === undefined || value === false) continue
    if (name.startsWith('on')) element.addEventListener(name.slice(2), value)
    else element.setAttribute(name, value === true ? '' : String(value))
  }
  element.append(...children.flat().filter((child) => child !== null && child !== undefined))
  return element
}

/** Return an HTML element with attributes, listeners (`onclick`) and children. */
export const h = (name, attributes, ...children) =>
  fill(document.createElement(name), attributes, children)

/** The same for SVG. */
export const s = (name, attributes, ...children) =>
  fill(document.createElementNS(SVG, name), attributes, children)

/** Change the text of an element only where it differs, so that nothing is read out twice. */
export function put(element, text) {
  if (element.textContent !== text) element.textContent = text
}

/** Change an attribute only where it differs; null removes it. */
export function set(element, name, value) {
  if (value === null || value === false) {
    if (element.hasAttribute(name)) element.removeAttribute(name)
  } else {
    const text = value === true ? '' : String(value)
    if (element.getAttribute(name) !== text) element.setAttribute(name, text)
  }
}

/** Replace the children of an element where `key` is another one than the last time. */
export function redo(element, key, make) {
  if (element.dataset.made === key) return
  element.dataset.made = key
  element.replaceChildren(...[make()].flat().filter((child) => child !== null))
}
