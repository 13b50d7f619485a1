// A field that a scanner types into: it ends each line with Enter, which must begin no run.

const LABEL_HEAD = 'ohmwright'  // the first line of the code on a label that this program printed
const UNIT = 'asset '  // its last line; older labels have none, and the records know the run's unit
const PAUSE_MS = 5000  // of a label without its last line, nothing more comes

/** Have Enter in `field` end a line; of a label's lines the unit stays. `told` is called with each. */
export function takesScans(field, told) {
  let isLabel = false, known = '', at = -Infinity
  field.addEventListener('keydown', (event) => {
    if (event.key !== 'Enter') return
    event.preventDefault()
    const line = field.value.trim(), isLate = event.timeStamp - at > PAUSE_MS
    at = event.timeStamp
    if (line === LABEL_HEAD) [isLabel, known] = [true, '']
    else if (isLate) isLabel = false
    if (line.startsWith('run ')) known = line
    if (line.startsWith(UNIT)) known = line.slice(UNIT.length)
    if (isLabel) field.value = known
    if (line.startsWith(UNIT)) isLabel = false
    field.select()  // what is scanned next takes its place
    told()
  })
}
