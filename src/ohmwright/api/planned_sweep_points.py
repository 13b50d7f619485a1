"""How many points the sweeps of a run are to have, by the procedure on its record."""

from __future__ import annotations

from collections.abc import Sequence

from ohmwright.engine.kept_documents import read_kept_procedure
from ohmwright.engine.run_so_far import run_started_event
from ohmwright.engine.steps.sweep import SweepStep
from ohmwright.model.event import DocumentKept, Event


def planned_sweep_points(events: Sequence[Event]) -> int | None:
    """Return how many points the sweeps of a run are to have.

    None where its procedure is not among `events`, or is none that is read today.
    """
    started = run_started_event(events)
    kept = (event.document for event in events if isinstance(event, DocumentKept))
    document = next((one for one in kept if one.role == "procedure"), None)
    procedure = None if document is None else read_kept_procedure(document)
    if started is None or procedure is None:
        return None
    return sum(
        len(step.point_names())
        for stage in started.stages
        for step in procedure.steps_in(stage)
        if isinstance(step, SweepStep)
    )
