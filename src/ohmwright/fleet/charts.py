"""Western Electric rules: whether the level of a charted quantity has changed.

A chart follows one quantity of one instrument over time, such as a generator's as-found error.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Signal:
    """A Western Electric rule (1 to 4) that the value at `index` completes."""

    index: int
    rule: int


# rule: (at least this many, of this many latest values, lie beyond this many sigma on one side)
WESTERN_ELECTRIC = {1: (1, 1, 3.0), 2: (2, 3, 2.0), 3: (4, 5, 1.0), 4: (8, 8, 0.0)}


def western_electric(values: npt.ArrayLike, centre: float, sigma: float) -> tuple[Signal, ...]:
    """Return every signal of the Western Electric rules (from memory) in a series, in time order.

    1: one beyond 3 sigma; 2: two of three beyond 2 sigma on one side; 3: four of five beyond
    1 sigma on one side; 4: eight in a row on one side. Raises ValueError for sigma not above zero.
    """
    if not sigma > 0.0:
        raise ValueError(f"a control chart needs a sigma above zero, got {sigma}")
    z = (np.asarray(values, dtype=np.float64) - centre) / sigma
    found = [
        Signal(index, rule)
        for rule, (needed, window, beyond) in WESTERN_ELECTRIC.items()
        for index in _runs(z, needed, window, beyond)
    ]
    return tuple(sorted(found, key=lambda signal: (signal.index, signal.rule)))


def _runs(z: FloatArray, needed: int, window: int, beyond: float) -> list[int]:
    """Return the indices of values beyond, where `needed` of the last `window` are, on one side."""
    hits: set[int] = set()
    if z.size == 0:
        return []
    for outside in (z > beyond, z < -beyond):
        counts = np.convolve(outside.astype(np.int64), np.ones(window, dtype=np.int64))[: z.size]
        hits.update(np.flatnonzero(outside & (counts >= needed)).tolist())
    return sorted(hits)
