"""How long the rest of a run will take, by the time that its points have taken so far."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from .run_plan import PlannedPoint

_SHORT_S, _SHORTEST_S = 90.0, 10.0
"""Times under the first are told in seconds, under the second as less than that."""
_OVERDUE_S, _OVERDUE_SHARE = 10.0, 0.25
"""A point is overdue when it takes longer than foreseen by both, the second of what was foreseen:
no time is foreseen finer than that."""


class RunPace:
    """Learns, for each kind of step, how a point's time compares with what was expected of it."""

    def __init__(self) -> None:
        self._begun_s: float | None = None
        self._held_s = 0.0
        """For how long requests have waited since the present point was begun."""
        self._held_since_s: float | None = None
        self._spent_s: dict[str, float] = defaultdict(float)
        self._expected_s: dict[str, float] = defaultdict(float)
        self._timed: set[str] = set()
        """The kinds of step seen so far that key RF: what people take to answer says nothing of
        their pace."""

    def begin(self, bench_s: float) -> None:
        """Take the present time of the bench's clock as the beginning of the next point."""
        self._begun_s, self._held_s = bench_s, 0.0

    def hold(self, bench_s: float) -> None:
        """Take that a request waits from now on: what is left does not grow less meanwhile."""
        self._held_since_s = bench_s

    def go_on(self, bench_s: float) -> None:
        """Take that the request was answered."""
        self._held_s += self._waits_s(bench_s)
        self._held_since_s = None

    def _waits_s(self, now_s: float) -> float:
        """Return for how long the open request has waited."""
        return 0.0 if self._held_since_s is None else max(0.0, now_s - self._held_since_s)

    def point_done(self, point: PlannedPoint, bench_s: float) -> None:
        """Take the end of a point, which is the beginning of the next."""
        if self._begun_s is not None:
            self._spent_s[point.kind] += bench_s - self._begun_s
            self._expected_s[point.kind] += point.expected_s
            self._timed |= {point.kind} if point.timed else set()
        self._begun_s, self._held_s = bench_s, 0.0

    def left_s(self, missing: Iterable[PlannedPoint], now_s: float) -> float:
        """Return the bench time that the points `missing` will take; the first has begun.

        A point that already takes longer than foreseen counts 0 s.
        """
        here_s, later_s = self._here_and_later_s(list(missing), now_s)
        return max(0.0, here_s) + later_s

    def left_words(self, missing: Iterable[PlannedPoint], now_s: float) -> str:
        """Return the same as a clause, such as `about 12 min left`.

        Where the present point is overdue, its end is not known, and it says so.
        """
        points = list(missing)
        here_s, later_s = self._here_and_later_s(points, now_s)
        if points and here_s < -self._allowed_s(points[0]):
            over = "longer than foreseen"
            return over if len(points) == 1 else f"{over}, then {about(later_s)}"
        if here_s <= 0 and len(points) == 1:
            return "about to end"
        return f"{about(max(0.0, here_s) + later_s)} left"

    def _allowed_s(self, point: PlannedPoint) -> float:
        """Return how much longer than foreseen `point` may take before it is called overdue."""
        return max(_OVERDUE_S, _OVERDUE_SHARE * point.expected_s * self._pace(point.kind))

    def _here_and_later_s(self, points: list[PlannedPoint], now_s: float) -> tuple[float, float]:
        """Return what the first point still takes, below 0 once that is over, and all others."""
        paces = {kind: self._pace(kind) for kind in {point.kind for point in points}}
        times_s = [point.expected_s * paces[point.kind] for point in points]
        if not times_s:
            return 0.0, 0.0
        spent_s = 0.0 if self._begun_s is None else max(0.0, now_s - self._begun_s)
        if points[0].timed:  # at a question, the person's time is all there is
            spent_s -= self._held_s + self._waits_s(now_s)
        return times_s[0] - max(0.0, spent_s), sum(times_s[1:])

    def _pace(self, kind: str) -> float:
        """Return the time taken over the time expected: of the kind, else of all timed, else 1."""
        kinds = [kind] if kind in self._expected_s else list(self._timed)
        expected_s = sum(self._expected_s[each] for each in kinds)
        return sum(self._spent_s[each] for each in kinds) / expected_s if expected_s > 0 else 1.0


def about(seconds: float) -> str:
    """Return an estimated time in words, no finer than it is known: `about 12 min`."""
    if seconds < _SHORTEST_S:
        return f"less than {_SHORTEST_S:.0f} s"
    return f"about {duration(round(seconds, -1) if seconds < _SHORT_S else seconds)}"


def duration(seconds: float) -> str:
    """Return a time in seconds, in minutes, or in hours and minutes."""
    if seconds < _SHORT_S:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 100 else f"{minutes // 60} h {minutes % 60:02d} min"
