"""The union of all events of a run; a record is its events, kept in order.

Events are told apart by `kind` and are imported from here.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, TypeAdapter

from .activation_events import (
    ActivationClosed,
    ActivationOpened,
    ProtectionProved,
    SlowRelease,
    UnaskedRf,
)
from .adjustment_events import (
    CurveDiagnosed,
    FirstMove,
    PointLearned,
    SenseGain,
    ServiceLeft,
    TrimMoved,
    TrimsStored,
)
from .run_events import (
    Asked,
    Commented,
    DocumentKept,
    Fault,
    FileAttached,
    Foretold,
    PointDone,
    RunFinished,
    RunResumed,
    RunStarted,
    StageStarted,
    StepStarted,
    UnitIdentified,
)
from .stamped import Stamped

__all__ = [
    "EVENTS",
    "ActivationClosed",
    "ActivationOpened",
    "Asked",
    "Commented",
    "CurveDiagnosed",
    "DocumentKept",
    "Event",
    "Fault",
    "FileAttached",
    "FirstMove",
    "Foretold",
    "PointDone",
    "PointLearned",
    "ProtectionProved",
    "RunFinished",
    "RunResumed",
    "RunStarted",
    "SenseGain",
    "ServiceLeft",
    "SlowRelease",
    "StageStarted",
    "Stamped",
    "StepStarted",
    "TrimMoved",
    "TrimsStored",
    "UnaskedRf",
    "UnitIdentified",
]

Event = Annotated[
    RunStarted
    | RunResumed
    | DocumentKept
    | FileAttached
    | Commented
    | UnitIdentified
    | Foretold
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
