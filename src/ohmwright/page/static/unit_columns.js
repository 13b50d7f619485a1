// What every list of units tells of each: its tag, what it is, and where.

import { h } from './dom.js'

export const SHAM = 'SIMULATED: by runs on simulated benches, which are no evidence about any real unit'

/** Where a unit's own view is, by runs on `kind` benches: simulated or real. */
export const unitAddress = (tag, kind) => `#/unit/${encodeURIComponent(tag)}/${kind}`

/** The first columns of a list of units; `kind()`: of the benches whose runs count, when a cell is made. */
export const unitColumns = (kind) => ({
  Unit: [(unit) => h('a', { href: unitAddress(unit.tag, kind()) }, unit.tag), (unit) => unit.tag],
  Model: [(unit) => `${unit.model}, ${unit.serial}`, (unit) => `${unit.model}, ${unit.serial}`],
  Site: [(unit) => unit.site, (unit) => unit.site || null],
})
