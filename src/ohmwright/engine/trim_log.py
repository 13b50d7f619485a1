"""What the results so far say of adjusted points: which later trims moved, what is to be done."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from functools import cached_property

from ohmwright.adjustment.trim_coupling import (
    UNFELT,
    Shift,
    couplings,
    is_unfelt,
    order_of_adjusting,
)
from ohmwright.model.hardware import GeneratorData
from ohmwright.model.result import Measured, Result, latest

from .judge import scatter_half_width

MOST_TIMES_AGAIN = 2
"""How often a point is adjusted again."""
_OUTWARDS = 0.5
"""A point that later trims moved farther from its target by more than this part of the tolerance
is adjusted again, though it still passes; a shift by more shows that trims are coupled."""

_SMALL_PART = 0.1
"""A trim that seems to have a smaller part in a shift is not named."""
WARMED = " (or as the unit warmed: its data state no droop)"


class TrimLog:
    """The results of the adjust steps of a run, oldest first; a trim has the name of its point.

    All of it follows from the results alone, so that a run cut short goes on where it was.
    """

    def __init__(self, generator: GeneratorData, results: Sequence[Result]) -> None:
        self._generator = generator
        self._results = [r for r in results if (r.stage, r.kind) == ("adjust", "adjust")]

    def due_checks(self) -> Iterator[tuple[Result, tuple[str, ...]]]:
        """Yield each passing point's latest result, and the trims that may have moved it since.

        A trim that was moved as far before, and was not felt, is left out.
        """
        for result in latest(self._results):
            counts = self._moved_since(result)
            felt = tuple(
                trim
                for trim, moved in counts.items()
                if not is_unfelt(result.point, trim, moved, self._shifts)
            )
            if result.verdict == "pass" and result.measured is not None and felt:
                yield result, felt

    def is_stated(self, trim: str, point: str) -> bool:
        """Return whether the generator's data say that a trim moves another point."""
        data = self._generator.point(trim)
        return data is not None and point in (data.also_moves or ())

    def to_adjust_again(self) -> tuple[Result, ...]:
        """Return the checks after which a point is adjusted again, in the order of doing it."""
        checks = {r.point: r for r in latest(self._results) if self._is_to_be_adjusted(r)}
        return tuple(checks[point] for point in order_of_adjusting([*checks], self._shifts))

    def left_of_round(self) -> tuple[Result, ...]:
        """Return those of `to_adjust_again` that were to be adjusted when the run was cut short.

        Their check came before another point was adjusted again in the same round.
        """
        again = [i for i, r in enumerate(self._results) if r.again == "adjusted"]
        before = {id(r) for r in self._results[: again[-1]]} if again else set()
        return tuple(check for check in self.to_adjust_again() if id(check) in before)

    def stands(self, result: Result) -> bool:
        """Return whether no trim that may move the point has moved since its latest result."""
        return not self._moved_since(result)

    def is_likely(self, trims: Sequence[str], point: str) -> bool:
        """Return whether the unit has shown coupling, and one of the trims is of the same mode."""
        coupled = any(abs(shift.tolerances) > _OUTWARDS for shift in self._shifts)
        data = [self._generator.point(name) for name in (point, *trims)]
        modes = ["" if each is None else each.mode for each in data]
        return coupled and modes[0] in modes[1:]

    def first_of(self, result: Result) -> Result:
        """Return the first result of the point of `result`."""
        return self._of_point(result)[0]

    def shift_note(self, check: Result) -> str:
        """Return what a check has seen of later trims, for its reason; empty if they moved nothing.

        `check`: a result that is not in the log yet.
        """
        before = self._of_point(check)[-1].measured
        width = None if check.target is None else check.target.half_width
        if before is None or check.measured is None or width is None:
            return ""
        moved_ma = check.measured.value - before.value
        if abs(moved_ma) < max(UNFELT * width, _scatter(before, check.measured)):
            return ""
        times = self._times_again(check)
        # a loss may be warmth of which nothing is known, as that of a unit slow to recover
        warmed = moved_ma < 0 and self._generator.droop is None
        note = f"{moved_ma:+.3g} mA since {trims_moved(self._that_matter(check))}{WARMED * warmed}"
        given_up = check.verdict != "pass" and times == MOST_TIMES_AGAIN
        return f"{note}, though adjusted again {times} times" if given_up else note

    def _that_matter(self, check: Result) -> list[str]:
        """Return the moved trims that seem to have a part in a check's shift, the largest first.

        One shift alone cannot tell them apart, and all of them are named.
        """
        seen = [*self._shifts, *self._shift_of(check, len(self._results))]
        effect = couplings(seen)
        counts = self._moved_since(self._of_point(check)[-1])
        parts = {t: abs(effect.get((check.point, t), 0.0) * n) for t, n in counts.items()}
        alone = sum(shift.point == check.point for shift in seen) == 1
        least = 0.0 if alone else _SMALL_PART * sum(parts.values())
        return sorted((t for t in parts if parts[t] >= least), key=lambda t: -parts[t])

    def _is_to_be_adjusted(self, check: Result) -> bool:
        if check.again != "checked" or self._times_again(check) >= MOST_TIMES_AGAIN:
            return False
        return check.verdict in ("fail", "undecided") or self._is_farther_out(check)

    def _is_farther_out(self, check: Result) -> bool:
        adjusted = [r for r in self._of_point(check) if r.again != "checked"][-1]
        if check.error is None or adjusted.error is None or check.target is None:
            return False
        farther = abs(check.error) - abs(adjusted.error)
        return farther > _OUTWARDS * check.target.half_width

    def _times_again(self, result: Result) -> int:
        return sum(r.again == "adjusted" for r in self._of_point(result))

    def _of_point(self, result: Result) -> list[Result]:
        return [r for r in self._results if (r.step, r.point) == (result.step, result.point)]

    @cached_property
    def _shifts(self) -> tuple[Shift, ...]:
        """What each check has seen of the trims that were moved before it."""
        return tuple(s for i, r in enumerate(self._results) for s in self._shift_of(r, i))

    def _shift_of(self, check: Result, end: int) -> Iterator[Shift]:
        """Yield the shift that `check` has seen, the result at place `end` of the log."""
        places = [i for i, r in enumerate(self._results[:end]) if r.step == check.step]
        if check.again != "checked" or not places or check.target is None:
            return
        before, counts = self._results[places[-1]], self._moved(check.point, places[-1] + 1, end)
        if before.measured is not None and check.measured is not None and counts:
            moved = check.measured.value - before.measured.value
            yield Shift(check.point, moved / check.target.half_width, counts)

    def _moved_since(self, result: Result) -> dict[str, int]:
        """Return the counts of each trim that may move the point, since its latest result."""
        place = max(i for i, r in enumerate(self._results) if r.step == result.step)
        return self._moved(result.point, place + 1, len(self._results))

    def _moved(self, point: str, start: int, end: int) -> dict[str, int]:
        """Return the counts by which each trim that may move `point` was moved by some results."""
        counts = Counter[str]()
        for place in range(start, end):
            counts[self._results[place].point] += self._counts_of(place)
        return {t: n for t, n in counts.items() if n != 0 and self._may_move(t, point)}

    def _counts_of(self, place: int) -> int:
        """Return by how many counts the adjusting of one result has moved its trim."""
        result = self._results[place]
        if result.again == "checked" or result.final_trim is None:
            return 0
        earlier = [r.final_trim for r in self._results[:place] if r.step == result.step]
        start = earlier[-1] if result.again == "adjusted" else result.start_trim
        return 0 if start is None else result.final_trim - start

    def _may_move(self, trim: str, point: str) -> bool:
        """Return whether a trim may move another point, by the generator's data."""
        data = self._generator.point(trim)
        if trim == point:
            return False
        return data is None or data.also_moves is None or point in data.also_moves


def trims_moved(trims: Sequence[str]) -> str:
    """Return a clause that says that the trims of some points were moved."""
    if not trims:  # as in a record that another program wrote
        return "trims that are not named were moved"
    *first, last = trims
    if not first:
        return f"the trim of {last} was moved"
    return f"the trims of {', '.join(first)} and {last} were moved"


def _scatter(one: Measured, other: Measured) -> float:
    """Return the half-width of the interval that the readings' scatter allows a difference."""
    return float((scatter_half_width(one) ** 2 + scatter_half_width(other) ** 2) ** 0.5)
