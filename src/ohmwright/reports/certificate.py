"""What a certificate rests on, gathered from the events of one run."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar

from ohmwright.model.bench_file import Asset
from ohmwright.model.errors import UsageError
from ohmwright.model.event import (
    Event,
    Fault,
    PointDone,
    RunFinished,
    RunResumed,
    RunStarted,
    TrimMoved,
)
from ohmwright.model.procedure import MEASURED, Stage
from ohmwright.model.result import Result, Verdict, latest, worst
from ohmwright.model.traceability import Environment, Traceability

T = TypeVar("T")


@dataclass(frozen=True)
class Line:
    """One point, as found and as left; either may be missing."""

    step: str
    point: str
    found: Result | None
    left: Result | None

    @property
    def last(self) -> Result:
        """The newer of the two."""
        result = self.left or self.found
        assert result is not None
        return result


@dataclass(frozen=True)
class Adjustment:
    """One adjustment point: where its trim was moved, how often, and where it landed."""

    result: Result
    moves: int


@dataclass(frozen=True)
class Certificate:
    """Everything that the papers of a finished run say; they only word it."""

    run_id: str
    asset: Asset
    procedure: str
    revision: str
    procedure_digest: str
    stages: tuple[Stage, ...]
    bench: str
    analyzer: str
    generator: str
    operators: tuple[str, ...]
    software: str
    begun_at: datetime
    ended_at: datetime
    traceability: tuple[Traceability, ...]
    """What the analyzer rested on, at the start and at each resumption where it changed."""
    environment: tuple[Environment, ...]
    seed: int | None
    verdict: Verdict
    lines: tuple[Line, ...]
    adjustments: tuple[Adjustment, ...]
    rules: tuple[str, ...]
    interruptions: tuple[str, ...]
    on_s: float
    bench_time_s: float
    head: str | None
    """Hash of the last event of the record, in hexadecimal."""

    @property
    def results(self) -> tuple[Result, ...]:
        """Every result, in the order of the lines, adjustments last."""
        measured = (r for line in self.lines for r in (line.found, line.left) if r is not None)
        return (*measured, *(adjustment.result for adjustment in self.adjustments))

    def verdict_of(self, stage: Stage) -> Verdict:
        """The verdict of one stage."""
        return worst(r.verdict for r in self.results if r.stage == stage)


def certificate_of(events: Sequence[Event], head: str | None = None) -> Certificate:
    """The certificate of a finished run. Raises UsageError for one that is not finished."""
    started = next((event for event in events if isinstance(event, RunStarted)), None)
    finished = events[-1] if events else None
    if started is None or not isinstance(finished, RunFinished):
        raise UsageError(
            "This run is not finished.",
            "A certificate speaks of whole runs only.",
            "Go on with it by --resume, then ask again.",
        )
    resumed = [event for event in events if isinstance(event, RunResumed)]
    sittings: tuple[RunStarted | RunResumed, ...] = (started, *resumed)
    results = latest(event.result for event in events if isinstance(event, PointDone))
    return Certificate(
        run_id=started.run_id,
        asset=started.asset,
        procedure=started.procedure,
        revision=started.revision,
        procedure_digest=started.procedure_digest,
        stages=started.stages,
        bench=started.bench,
        analyzer=started.analyzer,
        generator=started.generator,
        operators=tuple(dict.fromkeys(sitting.operator for sitting in sittings)),
        software=started.software,
        begun_at=started.at,
        ended_at=finished.at,
        traceability=_distinct(sitting.traceability for sitting in sittings),
        environment=_distinct(sitting.environment for sitting in sittings),
        seed=started.seed,
        verdict=finished.verdict,
        lines=tuple(_lines(results)),
        adjustments=tuple(_adjustments(results, events)),
        rules=_distinct(r.conformity.rule for r in results if r.conformity is not None),
        interruptions=tuple(event.message for event in events if isinstance(event, Fault)),
        on_s=finished.on_s,
        bench_time_s=finished.bench_time_s,
        head=head,
    )


def _lines(results: Sequence[Result]) -> Iterable[Line]:
    measured = {(r.step, r.point, r.stage): r for r in results if r.stage in MEASURED}
    for step, point in dict.fromkeys((step, point) for step, point, _ in measured):
        found, left = (measured.get((step, point, stage)) for stage in MEASURED)
        yield Line(step, point, found, left)


def _adjustments(results: Iterable[Result], events: Iterable[Event]) -> Iterable[Adjustment]:
    moved = [event.point for event in events if isinstance(event, TrimMoved)]
    for result in results:
        if result.stage == "adjust":
            yield Adjustment(result, moved.count(result.point))


def _distinct(values: Iterable[T | None]) -> tuple[T, ...]:
    return tuple(dict.fromkeys(value for value in values if value is not None))
