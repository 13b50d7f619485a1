// Who works at this tab of the browser, as told once.

const NAME = 'ohmwright-operator'  // asked for once in a session of the browser

export function keptName() {
  try {
    return sessionStorage.getItem(NAME) ?? ''
  } catch {
    return ''
  }
}

export function keepName(name) {
  try {
    sessionStorage.setItem(NAME, name.trim())
  } catch { /* it is asked for again */ }
}
