"""Cross-coupling of trims: how far each moves other points, and the order of adjusting it suggests.

Shifts are counted in tolerances of the point that was moved, so that points can be compared.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

UNFELT = 0.2
"""A shift of less than this part of the tolerance says that a trim does not matter to a point: our
own choice."""


class Shift(NamedTuple):
    """How far the output of `point` moved between two measurements, in its tolerances."""

    point: str
    tolerances: float
    counts: Mapping[str, int]
    """Counts by which other trims were moved in between, by the name of their point."""


def couplings(shifts: Sequence[Shift]) -> dict[tuple[str, str], float]:
    """Return the effect of a trim on a point, in tolerances per count, by (point, trim).

    Least squares. Where several trims moved together, many effects explain the shift: the smallest
    are taken (least sum of squares). Of two trims the one that moved twice as far gets twice the
    effect per count, and so four times the part of the shift.
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
    moves = _shift_by_trim(shifts)
    left, ordered = list(points), list[str]()

    def moved_by_others(point: str) -> float:
        return sum(moves.get((point, other), 0.0) for other in left if other != point)

    while left:
        ordered.append(min(left, key=moved_by_others))
        left.remove(ordered[-1])
    return tuple(ordered)


def _shift_by_trim(shifts: Sequence[Shift]) -> dict[tuple[str, str], float]:
    """Return how far a trim moves a point, by (point, trim): its effect times the farthest move.

    In tolerances; the farthest that the trim was moved between two measurements of the point.
    """
    return {
        (point, trim): abs(effect)
        * max(abs(s.counts.get(trim, 0)) for s in shifts if s.point == point)
        for (point, trim), effect in couplings(shifts).items()
    }


def is_unfelt(point: str, trim: str, counts: int, shifts: Sequence[Shift]) -> bool:
    """Return whether `trim` was once moved by `counts` or more, and `point` did not feel it."""
    return any(
        shift.point == point
        and abs(shift.tolerances) < UNFELT
        and abs(shift.counts.get(trim, 0)) >= abs(counts)
        for shift in shifts
    )
