"""What happens in a run. The record is these events, kept in order."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import Field, TypeAdapter

from .base import FrozenModel
from .bench_file import Asset
from .document import Document, DocumentRef
from .hardware import Sense
from .protections import Protections
from .result import Result, Verdict
from .step import Stage
from .traceability import Environment, Traceability


class Stamped(FrozenModel):
    """An event knows its time of day and the bench's own seconds."""

    at: datetime
    bench_s: float


class RunStarted(Stamped):
    """Who measures what, on which unit, with which instruments and which software."""

    kind: Literal["run_started"] = "run_started"
    run_id: str
    procedure: str
    revision: str
    procedure_digest: str
    stages: tuple[Stage, ...]
    bench: str
    analyzer: str
    generator: str
    asset: Asset
    operator: str
    software: str
    traceability: Traceability | None = None
    environment: Environment | None = None
    protections: Protections | None = None
    """What the bench had; None in records from before this was kept."""
    seed: int | None = None
    """The seed of a simulated bench; such a record is marked as simulated."""
    documents: tuple[DocumentRef, ...] = ()
    """What the run goes by, each kept as a DocumentKept; empty in records that keep none."""


class RunResumed(Stamped):
    """A run that was cut short goes on; points that have a result are not repeated."""

    kind: Literal["run_resumed"] = "run_resumed"
    operator: str
    done: int
    traceability: Traceability | None = None
    environment: Environment | None = None
    protections: Protections | None = None
    documents: tuple[DocumentRef, ...] = ()
    """As in RunStarted; only those that are not in the record yet are kept anew."""
    software: str | None = None


class DocumentKept(Stamped):
    """A document that the run goes by, once in a record."""

    kind: Literal["document_kept"] = "document_kept"
    document: Document


class StageStarted(Stamped):
    """A stage begins."""

    kind: Literal["stage_started"] = "stage_started"
    stage: Stage


class StepStarted(Stamped):
    """A step begins."""

    kind: Literal["step_started"] = "step_started"
    stage: Stage
    step: str


class ActivationOpened(Stamped):
    """RF is about to be switched on; on disk before it is."""

    kind: Literal["activation_opened"] = "activation_opened"
    load_ohm: float
    limit_s: float | None
    """The time limit that ON carries; None where it carries none and only this program ends it."""
    setting_w: float | None = None
    """The setting chosen; None in service mode."""


class ActivationClosed(Stamped):
    """RF has been read back as off."""

    kind: Literal["activation_closed"] = "activation_closed"
    on_s: float


class SlowRelease(Stamped):
    """The output took longer than a reading or two to go off after OFF."""

    kind: Literal["slow_release"] = "slow_release"
    took_s: float


class ProtectionProved(Stamped):
    """A protection was seen to work with RF on."""

    kind: Literal["protection_proved"] = "protection_proved"
    what: str
    on_s: float
    """How long RF was on for it."""


class UnaskedRf(Stamped):
    """RF was on though nobody had asked for it; OFF ended it, and it read off."""

    kind: Literal["unasked_rf"] = "unasked_rf"
    seen: str
    """What showed it."""


class TrimMoved(Stamped):
    """The trim of an adjustment point was moved by `counts`; a press counts as it is said to.

    Events of what was done while RF was on come after it is off; `bench_s` tells when it was.
    """

    kind: Literal["trim_moved"] = "trim_moved"
    point: str
    counts: int
    current_ma: float | None = None
    """The last reading before the move; None with RF off."""
    age_s: float | None = None
    """Age of the activation at the move; None with RF off."""
    key: Literal["coarse", "fine"] | None = None
    """The key that was pressed, where a person works the unit."""
    told_by: str | None = None
    """Who said that it was done; None where it was done by port and read back."""


class PointLearned(Stamped):
    """What adjusting a point taught of its model; later runs begin with it."""

    kind: Literal["point_learned"] = "point_learned"
    point: str
    gain_per_count: float
    """Change of the current relative to the target."""
    lag_s: float
    dead_s: float
    hunting: float
    """Probability that the unit hunts."""


class SenseGain(FrozenModel):
    """One sense gain of a mode as the power curve tells it; 1 is true."""

    sense: Sense
    gain: float
    uncertainty: float
    """Standard uncertainty."""
    drifted: float
    """Probability that it has drifted."""


class FirstMove(FrozenModel):
    """An adjustment point and what to begin with there."""

    point: str
    step: str
    off: float
    """Relative error of the current expected at the point, before any adjustment."""
    uncertainty: float
    """Standard uncertainty of `off`."""
    worthwhile: bool
    """Whether it is likely out of tolerance or near its limits."""
    counts: int | None = None
    """Counts to try first; None while earlier units have not taught what a count does."""


class CurveDiagnosed(Stamped):
    """Which sense gain of a mode has drifted, from the as-found power curve."""

    kind: Literal["diagnosis"] = "diagnosis"
    mode: str
    gains: tuple[SenseGain, ...]
    culprit: Sense | None
    """The one that stands out, if any does."""
    misfit: float
    """Chi square over degrees of freedom; far above 1 the curve does not follow the law."""
    first_moves: tuple[FirstMove, ...]


class TrimsStored(Stamped):
    """The generator has kept its trims."""

    kind: Literal["trims_stored"] = "trims_stored"
    told_by: str | None = None
    """Who said so; None where it was done by port."""


class ServiceLeft(Stamped):
    """Service mode was left before its time; moves that were not stored are undone by that."""

    kind: Literal["service_left"] = "service_left"
    point: str
    told_by: str | None = None
    """Who said so; None where it was done by port."""


class Asked(Stamped):
    """A person was asked something, and what they said to it."""

    kind: Literal["asked"] = "asked"
    question: str
    answer: str
    """One of the answers of the question, `skip`, `back`, `stop`, `comment` or `no answer`."""
    words: str = ""
    """The reason of a skip, or the comment."""
    told_by: str = ""
    """Who answered."""


class PointDone(Stamped):
    """A point has its result."""

    kind: Literal["point_done"] = "point_done"
    result: Result


class Fault(Stamped):
    """The run ended early, and why."""

    kind: Literal["fault"] = "fault"
    error: str
    message: str
    rf_state: Literal["off", "on", "unknown"]
    """As read last, after what went wrong."""
    left_open: str = ""
    """What stands in the unit that was moved and not stored, and what to do about it."""
    on_s: float | None = None
    """How long RF was on since the run was begun or resumed; None where nobody counted."""


class RunFinished(Stamped):
    """Every step is done."""

    kind: Literal["run_finished"] = "run_finished"
    verdict: Verdict
    on_s: float
    """Of the whole run, as far as the record knows it."""
    bench_time_s: float
    """Of the whole run, without the time between a fault and the resumption."""


Event = Annotated[
    RunStarted
    | RunResumed
    | DocumentKept
    | StageStarted
    | StepStarted
    | ActivationOpened
    | ActivationClosed
    | SlowRelease
    | UnaskedRf
    | ProtectionProved
    | TrimMoved
    | TrimsStored
    | ServiceLeft
    | PointLearned
    | CurveDiagnosed
    | Asked
    | PointDone
    | Fault
    | RunFinished,
    Field(discriminator="kind"),
]

EVENTS: TypeAdapter[Event] = TypeAdapter(Event)
