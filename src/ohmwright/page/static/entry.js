// How this browser is admitted: the token after `#` is exchanged for a cookie that no script sees.

import { post } from './link.js'

/** Whether this browser has a session; the token in the address is used up and taken away. */
export async function enter() {
  const token = new URLSearchParams(location.hash.slice(1)).get('token')
  if (token !== null) {
    history.replaceState(null, '', '/#/')
    try {
      await post('/enter', { token })
      return true
    } catch { /* it may have been used by this very browser */ }
  }
  return (await fetch('/openapi.json', { method: 'HEAD' })).ok
}
