"""Events of a run as a whole: its beginning and parts, what people say, its results and end."""

from __future__ import annotations

from typing import Literal

from .attachment import Attachment
from .bench_file import Asset
from .document import Document, DocumentRef
from .protections import Protections
from .registered_asset import RegisteredAsset
from .result import Result, Verdict
from .stamped import Stamped
from .step import Stage
from .traceability import Environment, Traceability

SWEEP_TITLE = "Sweep"
"""The title of the procedure by which a sweep is carried out; by it a sweep is known in records
that do not say what a run's work was."""
RunWork = Literal["procedure", "sweep"]
"""A sweep has points without limits alone: it decides nothing of the unit, and is never taken for a
unit's newest run."""


class RunStarted(Stamped):
    """The beginning of a run: operator, unit, instruments, software and documents."""

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
    """The protections of the bench; None in records that do not say."""
    seed: int | None = None
    """The seed of a simulated bench; such a record is marked as simulated."""
    documents: tuple[DocumentRef, ...] = ()
    """The documents of the run, each kept as a DocumentKept; empty in records without any."""
    registered: RegisteredAsset | None = None
    """The unit as the register of assets had it; None for a unit of the bench file."""
    work: RunWork | None = None
    """None in records that do not say."""
    work_order: str = ""
    account: str = ""
    """The computer's account; the operator may have given another name."""


class RunResumed(Stamped):
    """A run that was cut short goes on; points that have a result are not measured again."""

    kind: Literal["run_resumed"] = "run_resumed"
    operator: str
    done: int
    """How many points have a result."""
    traceability: Traceability | None = None
    environment: Environment | None = None
    protections: Protections | None = None
    documents: tuple[DocumentRef, ...] = ()
    """The documents of the resumed run; those that the record lacks follow as DocumentKept."""
    software: str | None = None
    work_order: str = ""
    account: str = ""


class DocumentKept(Stamped):
    """A document that the run uses, kept once in its record."""

    kind: Literal["document_kept"] = "document_kept"
    document: Document


class FileAttached(Stamped):
    """A file that a person added to the run."""

    kind: Literal["file_attached"] = "file_attached"
    attachment: Attachment
    told_by: str


class Commented(Stamped):
    """A comment that was given with the command; one said at a request is an Asked.

    `told_by` is `assignment.PROGRAM` where this program itself remarks something.
    """

    kind: Literal["commented"] = "commented"
    words: str
    told_by: str


class UnitIdentified(Stamped):
    """The unit at the bench is the one of the register, by its serial number."""

    kind: Literal["unit_identified"] = "unit_identified"
    seen: str
    """Its identification by port, or what a person read from its plate."""
    told_by: str | None = None
    """Who read the plate; None where the unit itself said it."""


class Foretold(Stamped):
    """Something that the bench may not be able to decide, told before RF was switched on."""

    kind: Literal["foretold"] = "foretold"
    severity: Literal["warning", "note"]
    step: str
    what: str
    """Where and what, as a clause."""


class StageStarted(Stamped):
    """A stage begins."""

    kind: Literal["stage_started"] = "stage_started"
    stage: Stage


class StepStarted(Stamped):
    """A step begins."""

    kind: Literal["step_started"] = "step_started"
    stage: Stage
    step: str
    note: str = ""
    """What the procedure notes of it, for the papers; empty where it notes nothing, and in older
    records."""


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
