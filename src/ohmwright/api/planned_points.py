"""How many points the sweeps of a run are to have, by the procedure on its record."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from ohmwright.engine.procedure import Procedure
from ohmwright.engine.resume import run_started_event
from ohmwright.engine.steps.sweep import SweepStep
from ohmwright.model.errors import SourceError
from ohmwright.model.event import DocumentKept, Event
from ohmwright.model.source import parse


def planned_points(events: Sequence[Event]) -> int | None:
    """Return how many points the sweeps of a run are to have.

    None where its procedure is not among `events`, or is none that is read today.
    """
    started = run_started_event(events)
    kept = (event.document for event in events if isinstance(event, DocumentKept))
    text = next((one.text for one in kept if one.role == "procedure"), None)
    if started is None or text is None:
        return None
    try:
        procedure = parse(Path("procedure.toml"), text, Procedure)
    except SourceError:
        return None
    return sum(
        len(step.point_names())
        for stage in started.stages
        for step in procedure.steps_in(stage)
        if isinstance(step, SweepStep)
    )
