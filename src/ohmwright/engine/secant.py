"""Where to move a trim next, from the settled currents seen so far."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Seen:
    """The settled current at a trim."""

    trim: int
    current_ma: float


def next_move(
    history: Sequence[Seen], target_ma: float, *, probe_counts: int, largest_counts: int
) -> int:
    """Counts to move from the last trim seen; 0 when no move would bring it nearer.

    The first move is a probe, since sign and gain are unknown; then the secant through
    the two last different trims, never more than `largest_counts` at once.
    """
    last = history[-1]
    earlier = next((seen for seen in reversed(history) if seen.trim != last.trim), None)
    if earlier is None:
        return probe_counts
    gain_ma = (last.current_ma - earlier.current_ma) / (last.trim - earlier.trim)
    if gain_ma == 0:
        return 0
    wished = round((target_ma - last.current_ma) / gain_ma)
    return max(-largest_counts, min(largest_counts, wished))
