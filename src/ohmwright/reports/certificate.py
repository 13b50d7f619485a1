"""The data of a certificate, gathered from the events of one finished run."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from ohmwright.engine.rests_on_record import Rest, rests_on_record
from ohmwright.engine.run_so_far import is_refused
from ohmwright.instruments.absent_operator import AbsentOperator
from ohmwright.model.bench_file import Asset
from ohmwright.model.document import Document
from ohmwright.model.errors import UsageError
from ohmwright.model.event import (
    DocumentKept,
    Event,
    RunFinished,
    RunResumed,
    RunStarted,
    StepStarted,
    TrimMoved,
)
from ohmwright.model.result import Result, Verdict, latest, worst_of
from ohmwright.model.step import MEASURED, Stage

from .issue import Issue
from .recomputed_text import recomputed_text
from .risk_text import decision_rules
from .run_parts import RunPart, parts_of_run, run_totals_s
from .run_remarks import remarks_of_run
from .stored_trims import stored_trims_text
from .text import printable
from .traceability_marks import ValueMarks, value_marks
from .unit_told import unread_identity

_WHATEVER_THE_RULE = (
    "pass and fail are said only where the readings' scatter leaves no doubt (95 %), else undecided"
)


@dataclass(frozen=True)
class CertifiedPoint:
    """One measured point with its results as found and as left; either may be missing."""

    step: str
    point: str
    found: Result | None
    left: Result | None

    @property
    def results(self) -> tuple[Result, ...]:
        """The results that exist, as found first."""
        return tuple(r for r in (self.found, self.left) if r is not None)

    @property
    def last(self) -> Result:
        """The result as left where there is one, else that as found."""
        return self.results[-1]


@dataclass(frozen=True)
class AdjustedPoint:
    """The result of one adjustment point, and how often its trim was moved."""

    result: Result
    moves: int


@dataclass(frozen=True)
class Certificate:
    """Everything that the papers of a finished run state, before it is put into words."""

    run_id: str
    asset: Asset
    """As corrected by amendments."""
    recorded_asset: Asset
    """As the record names it."""
    unread: str
    """Who alone says which unit it was; empty where the unit or its plate was read."""
    procedure: str
    revision: str
    procedure_digest: str
    stages: tuple[Stage, ...]
    bench: str
    analyzer: str
    generator: str
    parts: tuple[RunPart, ...]
    software: str
    begun_at: datetime
    ended_at: datetime
    marks: ValueMarks
    """What each value is traceable to."""
    documents: tuple[Document, ...]
    """Procedure, bench and data files of the run; empty in records that have none."""
    seed: int | None
    verdict: Verdict
    lines: tuple[CertifiedPoint, ...]
    adjustments: tuple[AdjustedPoint, ...]
    step_notes: Mapping[str, str]
    """What the procedure notes of a step, by its name, where it notes anything."""
    rests: Mapping[tuple[str, str, str], Rest]
    """How long RF was off before the activation of a result, by its stage, step and point."""
    rules: tuple[str, ...]
    remarks: tuple[str, ...]
    """Comments, and what happened beside the results, as printable text."""
    stored: str
    """How the trims that were moved were stored in the unit; empty where none was."""
    recomputed: str
    """Which values nobody can compute once more from the record; empty where all can be."""
    on_s: float
    bench_time_s: float
    work_orders: tuple[str, ...]
    """Of the parts of the run, in order; empty where none was given."""
    owner: str
    """Whose the unit is, by the register of assets; empty where it does not say."""
    head: str | None
    """Hash of the last event of the record, in hexadecimal."""
    seal_note: str
    """That a key which signed the record is not trusted where the papers are made; else empty."""
    copy: str
    """By what this is a copy and not the issued paper; empty where it is not known to be one."""
    issue: Issue
    """Number, approvals, amendments, and what is stated beside the record."""

    @property
    def results(self) -> tuple[Result, ...]:
        """Every result, in the order of the points, adjustments last."""
        measured = (result for line in self.lines for result in line.results)
        return (*measured, *(adjustment.result for adjustment in self.adjustments))

    @property
    def operators(self) -> tuple[str, ...]:
        """Everyone who carried out a part of the run, in order.

        Of one that nobody attended or began by name, the account that it was begun from.
        """
        return tuple(dict.fromkeys(map(_who_carried_out, self.parts)))

    @property
    def is_draft(self) -> bool:
        """Whether nobody has approved it yet."""
        return not self.issue.approvals

    @property
    def vouches(self) -> bool:
        """Whether somebody released its results, of a real unit, and nobody declared them void.

        Only such a paper bears accreditation, logo and the laboratory's own statements.
        """
        return not self.is_draft and not self.issue.void and self.seed is None

    @property
    def number(self) -> str:
        """The number of its issue; of a draft, which has none yet, with a word behind it."""
        return f"{self.issue.number}-draft" if self.is_draft else self.issue.number

    @property
    def dated(self) -> datetime:
        """When the newest issue came about: its amendment, else the end of the run."""
        return self.issue.amended_at or self.ended_at

    def rest_before(self, result: Result) -> Rest | None:
        """The rest before the activation of a result; None where none is on record."""
        return self.rests.get((result.stage, result.step, result.point))

    def part_of(self, result: Result) -> RunPart:
        """The part of the run in which one of `results` was measured."""
        return next(p for p in self.parts if any(one is result for one in p.results))

    def verdict_of(self, stage: Stage) -> Verdict:
        """The verdict of one stage."""
        return worst_of(r for r in self.results if r.stage == stage)


def certificate_of(
    events: Sequence[Event],
    head: str | None = None,
    seal_note: str = "",
    issue: Issue | None = None,
    copy: str = "",
) -> Certificate:
    """The certificate of a finished run. Raises UsageError for one that is not finished.

    `head`: hash of the run's last event. `seal_note`: that a key which signed is not trusted; empty
    where all are. `issue`: without it the first issue, which nobody has approved. `copy`: by what
    its papers are not the issued ones; empty where they are.
    """
    started, finished = _first_and_last(events)
    parts = parts_of_run(events)
    on_s, bench_time_s = run_totals_s(events)
    results = latest(result for part in parts for result in part.results)
    issue = Issue(started.run_id) if issue is None else issue
    corrected = issue.paper.corrections.given()
    return Certificate(
        run_id=started.run_id,
        asset=started.asset.model_copy(update=corrected),
        recorded_asset=started.asset,
        unread="" if "serial" in corrected else unread_identity(started, events),
        procedure=started.procedure,
        revision=started.revision,
        procedure_digest=started.procedure_digest,
        stages=started.stages,
        bench=started.bench,
        analyzer=started.analyzer,
        generator=started.generator,
        parts=parts,
        software=started.software,
        begun_at=started.at,
        ended_at=finished.at,
        marks=value_marks(parts),
        documents=tuple(e.document for e in events if isinstance(e, DocumentKept)),
        seed=started.seed,
        verdict=finished.verdict,
        lines=tuple(_lines(results)),
        adjustments=tuple(_adjustments(results, events)),
        step_notes={e.step: e.note for e in events if isinstance(e, StepStarted) and e.note},
        rests=rests_on_record(events),
        rules=_rules(results),
        remarks=remarks_of_run(events),
        stored=stored_trims_text(results, events),
        recomputed=recomputed_text(events),
        on_s=on_s,
        bench_time_s=bench_time_s,
        head=head,
        work_orders=_work_orders(events),
        owner="" if started.registered is None else started.registered.owner,
        seal_note=printable(seal_note) if seal_note else "",
        copy=printable(copy) if copy else "",
        issue=issue,
    )


def _who_carried_out(part: RunPart) -> str:
    nameless = part.operator == AbsentOperator.name and part.account
    return f"{part.operator}, begun from the account {part.account}" if nameless else part.operator


def _rules(results: Sequence[Result]) -> tuple[str, ...]:
    """The decision rules of a run and what holds whatever the rule; none if nothing is decided."""
    rules = decision_rules(results)
    return (*rules, _WHATEVER_THE_RULE) if rules else ()


def _work_orders(events: Iterable[Event]) -> tuple[str, ...]:
    """The numbers of the work orders of all parts of a run, each once."""
    begun = (e.work_order for e in events if isinstance(e, RunStarted | RunResumed))
    return tuple(dict.fromkeys(filter(None, begun)))


def _first_and_last(events: Sequence[Event]) -> tuple[RunStarted, RunFinished]:
    """The events that began and finished a run. Raises UsageError for one that is not finished."""
    started = next((event for event in events if isinstance(event, RunStarted)), None)
    finished = events[-1] if events else None
    if is_refused(events):
        raise UsageError(
            "This run was refused, and is over.",
            "A certificate speaks of whole runs only.",
            "Begin a new run.",
        )
    if started is None or not isinstance(finished, RunFinished):
        raise UsageError(
            "This run is not finished.",
            "A certificate speaks of whole runs only.",
            "Go on with it by --resume, then ask again.",
        )
    return started, finished


def _lines(results: Sequence[Result]) -> Iterable[CertifiedPoint]:
    """One certified point for each measured point, in the order of measuring."""
    measured = {(r.step, r.point, r.stage): r for r in results if r.stage in MEASURED}
    for step, point in dict.fromkeys((step, point) for step, point, _ in measured):
        found, left = (measured.get((step, point, stage)) for stage in MEASURED)
        yield CertifiedPoint(step, point, found, left)


def _adjustments(results: Iterable[Result], events: Iterable[Event]) -> Iterable[AdjustedPoint]:
    """One adjusted point for each result of the stage `adjust`."""
    moved = [event.point for event in events if isinstance(event, TrimMoved)]
    for result in results:
        if result.stage == "adjust":
            yield AdjustedPoint(result, moved.count(result.point))
