"""Cross-coupling of trims: how far each moves other points, and the order of adjusting it suggests.

Shifts are counted in tolerances of the point that was moved, so that points can be compared.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

UNFELT = 0.2
"""A shift of less than this part of the tolerance says that a trim does not matter to a point."""


class Shift(NamedTuple):
    """How far the output of `point` moved between two measurements, in its tolerances."""

    point: str
    tolerances: float
    counts: Mapping[str, int]
    """Counts by which other trims were moved in between, by the name of their point."""


def couplings(shifts: Sequence[Shift]) -> dict[tuple[str, str], float]:
    """Return the effect of a trim on a point, in tolerances per count, by (point, trim).

    Least squares; where several trims moved together, the smallest effects that explain the shift,
    so that each is given its part by how far it was moved.
    """
    found: dict[tuple[str, str], float] = {}
    for point in dict.fromkeys(shift.point for shift in shifts):
        seen = [shift for shift in shifts if shift.point == point]
        trims = tuple(dict.fromkeys(trim for shift in seen for trim in shift.counts))
        counts = np.array([[shift.counts.get(trim, 0) for trim in trims] for shift in seen])
        moved = np.array([shift.tolerances for shift in seen])
        effects, *_ = np.linalg.lstsq(counts.astype(float), moved)
        found |= {(point, trim): float(e) for trim, e in zip(trims, effects, strict=True)}
    return found


def order_of_adjusting(points: Sequence[str], shifts: Sequence[Shift]) -> tuple[str, ...]:
    """Return `points` so that a trim that moves others comes before those that it moves.

    Where trims move each other, the point that the others move least comes first; else the order
    given is kept.
    """
    effect = couplings(shifts)
    largest = {
        key: max(abs(s.counts.get(key[1], 0)) for s in shifts if s.point == key[0])
        for key in effect
    }

    def moved_by_others(point: str) -> float:
        keys = ((point, other) for other in left if other != point)
        return sum(abs(effect.get(key, 0.0)) * largest.get(key, 0) for key in keys)

    left, ordered = list(points), list[str]()
    while left:
        ordered.append(min(left, key=moved_by_others))
        left.remove(ordered[-1])
    return tuple(ordered)


def is_unfelt(point: str, trim: str, counts: int, shifts: Sequence[Shift]) -> bool:
    """Return whether `trim` was moved by as many counts before and `point` has not felt it."""
    return any(
        shift.point == point
        and abs(shift.tolerances) < UNFELT
        and abs(shift.counts.get(trim, 0)) >= abs(counts)
        for shift in shifts
    )
