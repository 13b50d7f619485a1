"""What of a record its own values, documents and figures contradict."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain

from ohmwright.model.event import Event

from .figures_on_record import differing_figures
from .limits_on_record import differing_limits
from .verdict_on_record import differing_verdicts


def contradictions(events: Sequence[Event]) -> Iterator[tuple[int, str]]:
    """Yield number and description of each event of a whole run that the rest of it contradicts."""
    return chain(differing_verdicts(events), differing_limits(events), differing_figures(events))
