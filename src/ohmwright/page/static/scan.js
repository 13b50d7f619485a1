// A field that a scanner types into: it ends each line with Enter, which must begin no run.

const PAUSE_MS = 500  // a scanner types one line after another faster than this
const LABEL_HEAD = 'ohmwright'  // the first line of the code on a label that this program printed

/** Have Enter in `field` end a line; of a label's lines the tag stays. `told` is called with each. */
export function takesScans(field, told) {
  let lines = [], at = -Infinity
  field.addEventListener('keydown', (event) => {
    if (event.key !== 'Enter') return
    event.preventDefault()
    if (event.timeStamp - at > PAUSE_MS) lines = []
    at = event.timeStamp
    lines.push(field.value.trim())
    if (lines[0] === LABEL_HEAD) {
      field.value = lines.find((line) => line.startsWith('asset '))?.slice('asset '.length) ?? ''
    }
    field.select()  // what is scanned next takes its place
    told()
  })
}
