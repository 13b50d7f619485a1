"""What happens in a run. The record is these events, kept in order."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import Field, TypeAdapter

from .base import Noun
from .bench_file import Asset
from .procedure import Stage
from .result import Result, Verdict
from .traceability import Environment, Traceability


class Stamped(Noun):
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
    seed: int | None = None
    """The seed of a simulated bench; such a record is marked as simulated."""


class RunResumed(Stamped):
    """A run that was cut short goes on; points that have a result are not repeated."""

    kind: Literal["run_resumed"] = "run_resumed"
    operator: str
    done: int
    traceability: Traceability | None = None
    environment: Environment | None = None


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
    limit_s: float


class ActivationClosed(Stamped):
    """RF has been read back as off."""

    kind: Literal["activation_closed"] = "activation_closed"
    on_s: float


class TrimMoved(Stamped):
    """The trim of an adjustment point was moved by `counts`."""

    kind: Literal["trim_moved"] = "trim_moved"
    point: str
    counts: int
    current_ma: float
    """The settled current before the move."""


class TrimsStored(Stamped):
    """The generator has kept its trims."""

    kind: Literal["trims_stored"] = "trims_stored"


class Asked(Stamped):
    """A person was asked something and answered."""

    kind: Literal["asked"] = "asked"
    question: str
    answer: str


class PointDone(Stamped):
    """A point has its result."""

    kind: Literal["point_done"] = "point_done"
    result: Result


class Fault(Stamped):
    """The run ended early, and why."""

    kind: Literal["fault"] = "fault"
    error: str
    message: str
    rf_state: Literal["off", "unknown"]


class RunFinished(Stamped):
    """Every step is done."""

    kind: Literal["run_finished"] = "run_finished"
    verdict: Verdict
    on_s: float
    bench_time_s: float


Event = Annotated[
    RunStarted
    | RunResumed
    | StageStarted
    | StepStarted
    | ActivationOpened
    | ActivationClosed
    | TrimMoved
    | TrimsStored
    | Asked
    | PointDone
    | Fault
    | RunFinished,
    Field(discriminator="kind"),
]

EVENTS: TypeAdapter[Event] = TypeAdapter(Event)
