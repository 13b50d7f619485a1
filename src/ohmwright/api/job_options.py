"""What a program may choose for a sweep or a run at an open bench, and how it is told of events."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from os import PathLike
from pathlib import Path
from typing import TypedDict

from ohmwright.model.bench_status import BenchStatus
from ohmwright.model.event import Event
from ohmwright.model.step import Stage

from .curve_file import refuse_unknown_ending
from .output_file import refuse_unwritable
from .paths import RecordsAt, given_path

OnEvent = Callable[[Event], None]
"""Called with each event once it is stored, with RF off."""


def ignore_event(_: Event) -> None:
    """Take no notice of an event."""


class SweepOptions(TypedDict, total=False):
    """Options of a sweep; each may be left out."""

    out: str | PathLike[str]
    """Also write the curve: .csv, .parquet, .svg, .png or .pdf; also where the sweep ends early."""
    overwrite: bool
    """Whether `out` may replace a file."""
    records: RecordsAt
    """Where the record is kept; default: the user's own records."""
    on_event: OnEvent
    """Called with each event once it is stored, with RF off."""
    accept_expired: bool
    """Whether an analyzer whose calibration is past its date may be used."""


class ProcedureOptions(TypedDict, total=False):
    """Options of a run of a procedure; each may be left out."""

    stages: Sequence[Stage]
    """Default: as found, adjust, as left."""
    records: RecordsAt
    on_event: OnEvent
    accept_expired: bool
    resume: str
    """The number of a run that was cut short, or "last"."""


def out_path(options: SweepOptions) -> Path | None:
    """Return where to write the curve. Raises UsageError where that cannot be written."""
    if "out" not in options:
        return None
    path = given_path("out=", options["out"])
    refuse_unknown_ending(path)
    overwrite = options.get("overwrite", False)
    refuse_unwritable(
        path, overwrite=overwrite, choice="overwrite=True", means="Nothing was switched on."
    )
    return path


class EventListener:
    """Keeps the events of a run, and tells a caller of each."""

    def __init__(self, told: OnEvent) -> None:
        self._told, self.events = told, list[Event]()

    def on_event(self, event: Event) -> None:
        """Keep an event, and tell of it."""
        self.events.append(event)
        self._told(event)

    def on_status(self, moment: BenchStatus) -> None:
        """Take no notice of the latest status."""
