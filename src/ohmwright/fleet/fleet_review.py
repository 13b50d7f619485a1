"""What a span of time brought: what failed as found, what was adjusted, what recurs. Pure."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

from sqlalchemy import Row as SqlRow

from ohmwright.model.result import Verdict, worst

from .binomial import ShareLimits, wilson
from .point_histories import PointLimits

_Row = SqlRow[Any]


@dataclass(frozen=True, slots=True)
class Failure:
    """One point of one unit that failed as found."""

    at: datetime
    run_id: str
    asset: str
    model: str
    step: str
    point: str
    value: float | None
    """None where there is none, as of an inspection, or of far too much power."""
    limits: PointLimits | None
    """None where it failed by something else, as by less output than at a lower setting."""
    qualified: bool
    """Whether no analyzer certificate in date covers the value, so that it proves less."""

    @property
    def error_percent(self) -> float | None:
        """Value less target, in percent of the target; None where either is missing."""
        if self.value is None or self.limits is None:
            return None
        return 100.0 * (self.value / self.limits.target - 1.0)


@dataclass(frozen=True, slots=True)
class AdjustedUnit:
    """One run that moved trims of its unit."""

    at: datetime
    run_id: str
    asset: str
    model: str
    points: tuple[str, ...]
    """The points whose trims were moved."""
    found: Verdict
    left: Verdict
    found_qualified: bool
    """Whether the verdict as found rests on values that no analyzer certificate in date covers."""
    left_qualified: bool


@dataclass(frozen=True, slots=True)
class WithoutPass:
    """One run that left its unit without a pass."""

    at: datetime
    run_id: str
    asset: str
    model: str
    left: Verdict
    """As left; as found where nothing was measured as left."""
    qualified: bool
    """Whether that rests on values that no analyzer certificate in date covers."""
    passed_at: datetime | None
    """When the unit passed since; None where it has not."""


@dataclass(frozen=True, slots=True)
class Recurrence:
    """A point of a unit that failed as found more than once, the last time within the span."""

    asset: str
    model: str
    step: str
    point: str
    dates: tuple[datetime, ...]
    qualified: bool
    """Whether no analyzer certificate in date covers one of the values."""


@dataclass(frozen=True, slots=True)
class ModelReview:
    """How the units of one model did, by their runs."""

    model: str
    units: int
    visits: int
    """Runs with a result as found, of which failures are a share."""
    failed: int
    """Visits at which a point failed as found."""
    adjusted: int
    """Runs that moved a trim."""
    not_passed_as_left: int
    """Runs whose results as left, or as found where there are none, did not all pass."""
    uncovered: int
    """Runs whose verdicts rest on values that no analyzer certificate covers."""
    past_due: int
    """Runs whose verdicts rest on values by an analyzer certificate that was past due."""

    @property
    def failure_limits(self) -> ShareLimits:
        """Share of visits with a failure as found: confidence limits of 95 %."""
        return wilson(self.failed, self.visits) if self.visits else ShareLimits(0.0, 1.0)


@dataclass(frozen=True, slots=True)
class FleetReview:
    """What a span of time brought."""

    models: tuple[ModelReview, ...]
    failures: tuple[Failure, ...]
    adjusted: tuple[AdjustedUnit, ...]
    without_pass: tuple[WithoutPass, ...]
    recurring: tuple[Recurrence, ...]
    assets: frozenset[str]
    """Every unit with a result in the span."""


@dataclass(frozen=True, slots=True)
class _Visit:
    """The results of one run that count, by stage: of a point measured again, the last one."""

    run: _Row
    """Its last result, for what is the same in all."""
    found: tuple[_Row, ...]
    adjusted: tuple[_Row, ...]
    left: tuple[_Row, ...]

    def verdict_found(self) -> Verdict:
        return worst(row.verdict for row in self.found)

    def verdict_left(self) -> Verdict:
        return worst(row.verdict for row in self.at_last())

    def judged(self) -> tuple[_Row, ...]:
        """The results as found and as left."""
        return (*self.found, *self.left)

    def at_last(self) -> tuple[_Row, ...]:
        """The results as left; those as found where there are none."""
        return self.left or self.found


def fleet_review(
    rows: Iterable[_Row], since: datetime, run_ids: Collection[str] | None = None
) -> FleetReview:
    """Return what the results since `since` say, of the runs `run_ids` alone where they are given.

    `rows`: as `reported_results` gives them, without adjustment points whose trim was left as it
    was; those before `since` tell what has failed before.
    """
    visits = [_visit(of_run) for of_run in _runs(rows)]
    wanted = [
        visit
        for visit in visits
        if _at(visit.run) >= since and (run_ids is None or visit.run.run_id in run_ids)
    ]
    failures = [failure for visit in wanted for failure in _failures(visit)]
    return FleetReview(
        models=tuple(_of_models(wanted)),
        failures=tuple(failures),
        adjusted=tuple(_adjusted(visit) for visit in wanted if visit.adjusted),
        without_pass=tuple(_without_pass(wanted, visits)),
        recurring=tuple(_recurring(visits, failures)),
        assets=frozenset(visit.run.asset for visit in wanted),
    )


def _runs(rows: Iterable[_Row]) -> list[list[_Row]]:
    of_run: dict[int, list[_Row]] = {}
    for row in rows:
        of_run.setdefault(row.run, []).append(row)
    return list(of_run.values())


def _visit(rows: Sequence[_Row]) -> _Visit:
    last = {(row.stage, row.step, row.point): row for row in rows}
    stages = {
        stage: tuple(row for row in last.values() if row.stage == stage)
        for stage in ("as_found", "adjust", "as_left")
    }
    return _Visit(rows[-1], stages["as_found"], stages["adjust"], stages["as_left"])


def _at(row: _Row) -> datetime:
    return datetime.fromisoformat(row.at)


def _failures(visit: _Visit) -> Iterable[Failure]:
    for row in visit.found:
        if row.verdict == "fail":
            bounds = (row.quantity, row.target, row.lower, row.upper)
            limits = None if row.target is None else PointLimits(*bounds)
            names = (row.asset, row.model, row.step, row.point)
            yield Failure(_at(row), row.run_id, *names, row.value, limits, _is_qualified(row))


def _adjusted(visit: _Visit) -> AdjustedUnit:
    run = visit.run
    points = tuple(dict.fromkeys(row.point for row in visit.adjusted))
    return AdjustedUnit(
        at=_at(run),
        run_id=run.run_id,
        asset=run.asset,
        model=run.model,
        points=points,
        found=visit.verdict_found(),
        left=visit.verdict_left(),
        found_qualified=any(map(_is_qualified, visit.found)),
        left_qualified=any(map(_is_qualified, visit.at_last())),
    )


def _without_pass(wanted: Iterable[_Visit], visits: Iterable[_Visit]) -> Iterable[WithoutPass]:
    """Yield those of the visits `wanted` that left no pass; one of `visits` may have passed since.

    Of one time, as of two simulated benches, none is known to be the later.
    """
    passes = [(one.run.asset, _at(one.run)) for one in visits if one.verdict_left() == "pass"]
    for visit in wanted:
        if (left := visit.verdict_left()) == "pass":
            continue
        run, at = visit.run, _at(visit.run)
        since = [when for asset, when in passes if asset == run.asset and when > at]
        names = (run.run_id, run.asset, run.model)
        qualified = any(map(_is_qualified, visit.at_last()))
        yield WithoutPass(at, *names, left, qualified, min(since, default=None))


def _is_qualified(row: _Row) -> bool:
    return bool(row.uncovered or row.past_due)


def _recurring(visits: Iterable[_Visit], failures: Iterable[Failure]) -> Iterable[Recurrence]:
    now = {(failure.asset, failure.step, failure.point) for failure in failures}
    ever: dict[tuple[str, str, str], list[Failure]] = {}
    for failure in (failure for visit in visits for failure in _failures(visit)):
        ever.setdefault((failure.asset, failure.step, failure.point), []).append(failure)
    for key, found in sorted(ever.items()):
        if key in now and len(found) > 1:
            asset, step, point = key
            dates = tuple(failure.at for failure in found)
            qualified = any(failure.qualified for failure in found)
            yield Recurrence(asset, found[-1].model, step, point, dates, qualified)


def _of_models(visits: Iterable[_Visit]) -> Iterable[ModelReview]:
    by_model = sorted(visits, key=lambda visit: visit.run.model)
    for model, of_model in groupby(by_model, key=lambda visit: visit.run.model):
        here = list(of_model)
        found = [visit for visit in here if visit.found]
        yield ModelReview(
            model=model,
            units=len({visit.run.asset for visit in here}),
            visits=len(found),
            failed=sum(visit.verdict_found() == "fail" for visit in found),
            adjusted=sum(bool(visit.adjusted) for visit in here),
            not_passed_as_left=sum(visit.verdict_left() != "pass" for visit in here),
            uncovered=sum(any(row.uncovered for row in visit.judged()) for visit in here),
            past_due=sum(any(row.past_due for row in visit.judged()) for visit in here),
        )
