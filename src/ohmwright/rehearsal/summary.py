"""What a rehearsal says: shares with bounds, costs of steps, and which tolerance is hardest."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass
from statistics import median
from typing import Any

import numpy as np

from ohmwright.fleet.binomial import clopper_pearson
from ohmwright.model.step import Stage

from .outcome import PointOutcome, UnitOutcome, UnitVerdict

VERDICTS: tuple[UnitVerdict, ...] = ("pass", "fail", "undecided", "not measured", "cut short")
_SEEDS = 10
"""Seeds of units that are listed, at most."""


@dataclass(frozen=True)
class BoundedShare:
    """A share of units or points, with its 95 % limits by Clopper and Pearson."""

    count: int
    of: int
    lower: float
    upper: float

    @classmethod
    def among(cls, flags: Iterable[bool]) -> BoundedShare:
        """The share of `flags` that are true; from 0 to 1 where there are none."""
        known = list(flags)
        if not known:
            return cls(0, 0, 0.0, 1.0)
        limits = clopper_pearson(sum(known), len(known))
        return cls(sum(known), len(known), limits.lower, limits.upper)

    @property
    def value(self) -> float:
        """The share itself, from 0 to 1."""
        return self.count / self.of if self.of else 0.0


@dataclass(frozen=True)
class UnitSpread:
    """Mean, median, 95th percentile and largest value over the units."""

    mean: float
    median: float
    p95: float
    largest: float

    @classmethod
    def of(cls, values: Sequence[float]) -> UnitSpread:
        """The spread of `values`, of which there is at least one."""
        return cls(
            float(np.mean(values)),
            float(median(values)),
            float(np.percentile(values, 95)),
            float(max(values)),
        )


@dataclass(frozen=True)
class StepSummary:
    """What a step takes in one stage, over the units."""

    stage: Stage
    step: str
    bench_s: float
    """Mean over all units, 0 for one whose run did not come so far."""
    on_s: float
    share_of_time: float
    """Of the mean bench time of a whole run."""


@dataclass(frozen=True)
class PointSummary:
    """How hard a point is to decide in one stage."""

    stage: Stage
    step: str
    point: str
    passed: BoundedShare
    failed: BoundedShare
    undecided: BoundedShare
    """Undecided or not measured."""
    false_accept: BoundedShare
    false_reject: BoundedShare
    on_s: float
    """Mean RF-on time."""
    expanded: float | None
    """Median expanded uncertainty in half-widths of the tolerance."""


@dataclass(frozen=True)
class Summary:
    """A rehearsal in figures; shares of units are of all units that were run."""

    units: int
    wanted: int
    verdicts: dict[UnitVerdict, BoundedShare]
    false_accept: BoundedShare
    """Units that passed with a point truly out of tolerance."""
    false_reject: BoundedShare
    """Units that failed with every point truly in tolerance."""
    point_false_accept: BoundedShare
    """Of all points with a known truth."""
    point_false_reject: BoundedShare
    point_undecided: BoundedShare
    covered: BoundedShare
    """Values whose expanded uncertainty covers the truth."""
    not_judged: int
    """Points of a unit for which the simulator has no truth to hold the verdict against."""
    bench_s: UnitSpread
    on_s: UnitSpread
    load_heat: UnitSpread
    generator_warmth: UnitSpread
    energy_j: UnitSpread
    steps: tuple[StepSummary, ...]
    """The costliest first."""
    points: tuple[PointSummary, ...]
    """The hardest first: most often undecided, then longest keyed."""
    problems: dict[str, int]
    """What cut runs short, and how often."""
    seeds: dict[str, tuple[int, ...]]
    """Seeds of units that were judged wrongly, left undecided or cut short, ten of each at most."""

    def as_json(self) -> dict[str, Any]:
        """The summary as one JSON document."""
        return asdict(self)


def summary(outcomes: Sequence[UnitOutcome], wanted: int) -> Summary:
    """Return the summary of the units that were run, at least one, of so many `wanted`."""
    points = [point for unit in outcomes for point in unit.points]
    known = [point for point in points if point.inside is not None]
    valued = [point for point in points if point.error is not None and point.expanded is not None]
    return Summary(
        units=len(outcomes),
        wanted=wanted,
        verdicts={v: BoundedShare.among(o.verdict == v for o in outcomes) for v in VERDICTS},
        false_accept=BoundedShare.among(o.false_accept for o in outcomes),
        false_reject=BoundedShare.among(o.false_reject for o in outcomes),
        point_false_accept=BoundedShare.among(p.false_accept for p in known),
        point_false_reject=BoundedShare.among(p.false_reject for p in known),
        point_undecided=BoundedShare.among(_is_undecided(p) for p in points),
        covered=BoundedShare.among(abs(p.error or 0.0) <= (p.expanded or 0.0) for p in valued),
        not_judged=max(sum(p.inside is None for p in o.points) for o in outcomes),
        bench_s=UnitSpread.of([o.bench_s for o in outcomes]),
        on_s=UnitSpread.of([o.on_s for o in outcomes]),
        load_heat=UnitSpread.of([o.load_heat for o in outcomes]),
        generator_warmth=UnitSpread.of([o.generator_warmth for o in outcomes]),
        energy_j=UnitSpread.of([o.energy_j for o in outcomes]),
        steps=_steps(outcomes),
        points=_points(points),
        problems=_problems(outcomes),
        seeds=_seeds(outcomes),
    )


def _is_undecided(point: PointOutcome) -> bool:
    return point.verdict in ("undecided", "not measured")


def _steps(outcomes: Sequence[UnitOutcome]) -> tuple[StepSummary, ...]:
    total_s = sum(o.bench_s for o in outcomes) or 1.0
    sums: dict[tuple[Stage, str], tuple[float, float]] = {}
    for outcome in outcomes:
        for cost in outcome.costs:
            bench_s, on_s = sums.get((cost.stage, cost.step), (0.0, 0.0))
            sums[cost.stage, cost.step] = bench_s + cost.bench_s, on_s + cost.on_s
    units = len(outcomes)
    found = (
        StepSummary(stage, step, bench_s / units, on_s / units, bench_s / total_s)
        for (stage, step), (bench_s, on_s) in sums.items()
    )
    return tuple(sorted(found, key=lambda one: -one.bench_s))


def _points(points: Sequence[PointOutcome]) -> tuple[PointSummary, ...]:
    of: dict[tuple[Stage, str, str], list[PointOutcome]] = {}
    for point in points:
        of.setdefault((point.stage, point.step, point.point), []).append(point)
    found = (_point(place, together) for place, together in of.items())
    return tuple(sorted(found, key=lambda one: (-one.undecided.value, -one.on_s)))


def _point(place: tuple[Stage, str, str], found: Sequence[PointOutcome]) -> PointSummary:
    expanded = [point.expanded for point in found if point.expanded is not None]
    known = [point for point in found if point.inside is not None]
    return PointSummary(
        *place,
        passed=BoundedShare.among(point.verdict == "pass" for point in found),
        failed=BoundedShare.among(point.verdict == "fail" for point in found),
        undecided=BoundedShare.among(_is_undecided(point) for point in found),
        false_accept=BoundedShare.among(point.false_accept for point in known),
        false_reject=BoundedShare.among(point.false_reject for point in known),
        on_s=float(np.mean([point.on_s for point in found])),
        expanded=float(median(expanded)) if expanded else None,
    )


def _problems(outcomes: Sequence[UnitOutcome]) -> dict[str, int]:
    told = [outcome.problem for outcome in outcomes if outcome.problem]
    return {problem: told.count(problem) for problem in dict.fromkeys(told)}


def _seeds(outcomes: Sequence[UnitOutcome]) -> dict[str, tuple[int, ...]]:
    kinds: dict[str, Callable[[UnitOutcome], bool]] = {
        "false accept": lambda one: one.false_accept,
        "false reject": lambda one: one.false_reject,
        "undecided": lambda one: one.verdict == "undecided",
        "cut short": lambda one: one.verdict == "cut short",
    }
    return {
        kind: tuple(one.seed for one in outcomes if belongs(one))[:_SEEDS]
        for kind, belongs in kinds.items()
    }
