"""What the run of one invented unit came to, small enough to be sent between machines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ohmwright.model.result import Verdict
from ohmwright.model.step import Stage

UnitVerdict = Verdict | Literal["cut short"]
"""The verdict of a run; `cut short` where a fault ended it."""


@dataclass(frozen=True, slots=True)
class PointOutcome:
    """One point by the last result that it got, and the truth."""

    stage: Stage
    step: str
    point: str
    verdict: Verdict
    on_s: float
    inside: bool | None
    """Whether the true value lies within the limits; None where there is no truth or no value."""
    error: float | None
    """Measured less true value, in half-widths of the tolerance."""
    expanded: float | None
    """Expanded uncertainty in half-widths of the tolerance; None without one."""

    @property
    def false_accept(self) -> bool:
        """Whether it passed though its true value is out of tolerance."""
        return self.verdict == "pass" and self.inside is False

    @property
    def false_reject(self) -> bool:
        """Whether it failed though its true value is in tolerance."""
        return self.verdict == "fail" and self.inside is True


@dataclass(frozen=True, slots=True)
class StepCost:
    """What a step took of one unit's run, in one stage, in s."""

    stage: Stage
    step: str
    bench_s: float
    on_s: float


@dataclass(frozen=True, slots=True)
class UnitOutcome:
    """The run of one unit."""

    unit: int
    """Its number in the rehearsal, from 0."""
    seed: int
    """Of the simulated bench; the unit can be run alone with it."""
    verdict: UnitVerdict
    problem: str
    """What cut the run short; empty where nothing did."""
    bench_s: float
    on_s: float
    load_heat: float
    """Largest heat of the load bank; 1 is what its rated duty leads to in the mean."""
    generator_warmth: float
    """Largest warmth of the output stage after an activation; 1 is warm through."""
    energy_j: float
    """Heat brought into load resistances."""
    points: tuple[PointOutcome, ...]
    costs: tuple[StepCost, ...]

    @property
    def false_accept(self) -> bool:
        """Whether the unit passed though a point of it is truly out of tolerance."""
        return self.verdict == "pass" and any(p.inside is False for p in self.final_points)

    @property
    def false_reject(self) -> bool:
        """Whether the unit failed though every point with a known truth is in tolerance.

        Not where it failed at a point whose truth is not known.
        """
        known = [p.inside for p in self.final_points if p.inside is not None]
        unknown = any(p.verdict == "fail" and p.inside is None for p in self.final_points)
        return self.verdict == "fail" and bool(known) and all(known) and not unknown

    @property
    def final_points(self) -> tuple[PointOutcome, ...]:
        """The points that the unit's verdict rests on: each by the last stage that measured it."""
        last = {(p.step, p.point): p for p in self.points if p.stage != "adjust"}
        return (*(p for p in self.points if p.stage == "adjust"), *last.values())
