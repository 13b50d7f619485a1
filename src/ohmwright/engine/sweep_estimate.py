"""What a sweep will cost in time, RF and heat, told before anything is switched on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from ohmwright.model.hardware import AnalyzerData, GeneratorData
from ohmwright.model.step import Timing

from .requirements import expected_ma
from .resting import OutputWarmth
from .sweep_points import SweepPoint

_SETTLING_S = 0.2
"""A value without limits has mostly settled at the first look after its age."""
_HANDLING_S = 0.5
"""Keying mode and setting, setting the load, ON, OFF and reading back, for each point."""


@dataclass(frozen=True)
class SweepEstimate:
    """The cost of a sweep, as expected; without the time that people take to answer requests."""

    point_s: tuple[float, ...]
    """Bench time of each point with the rest before it, in the order of measuring."""
    rf_s: float
    """Time with RF on."""
    heat_j: float
    """Heat in the load bank, where every setting gives its full power up to the current limit."""

    def __repr__(self) -> str:
        return f"<{self.points} points: {self.bench_s:.0f} s, RF on for {self.rf_s:.0f} s>"

    @property
    def points(self) -> int:
        """The number of points."""
        return len(self.point_s)

    @cached_property
    def bench_s(self) -> float:
        """Bench time of all points."""
        return sum(self.point_s)

    @property
    def mean_w(self) -> float:
        """The mean power in the load bank over the bench time."""
        return self.heat_j / self.bench_s if self.point_s else 0.0

    def left_s(self, done: int, spent_s: float) -> float:
        """Return the bench time left after `done` points that took `spent_s`, at their pace."""
        expected_s = sum(self.point_s[:done])
        pace = spent_s / expected_s if expected_s > 0 else 1.0
        return pace * sum(self.point_s[done:])


def estimated(
    points: Sequence[SweepPoint], timing: Timing, analyzer: AnalyzerData, generator: GeneratorData
) -> SweepEstimate:
    """Return the cost of `points`, with the rests that the duty of both instruments asks for."""
    warmth, now_s = OutputWarmth.of_rested(analyzer, generator), 0.0
    on_s = min(timing.age_s + _SETTLING_S, timing.max_on_s)
    point_s, heat_j = list[float](), 0.0
    for point in points:
        begun_s = now_s
        now_s += warmth.rest_s(now_s, timing, point.setting_w, 0.0) + _HANDLING_S
        current_ma = expected_ma(generator.mode(point.mode), point.setting_w, point.load_ohm)
        power_w = (current_ma / 1000) ** 2 * point.load_ohm
        warmth.add_activation(now_s, now_s + on_s, power_w)
        now_s += on_s
        heat_j += power_w * on_s
        point_s.append(now_s - begun_s)
    return SweepEstimate(tuple(point_s), on_s * len(points), heat_j)
