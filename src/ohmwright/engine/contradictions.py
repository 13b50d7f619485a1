"""What of a record its own values, documents and figures contradict."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain

from ohmwright.model.event import Event

from .figures_on_record import differing_figures
from .limits_on_record import differing_limits
from .recomputed_values import differing_values
from .verdict_on_record import differing_verdicts


def contradictions(events: Sequence[Event]) -> Iterator[tuple[int, str]]:
    """Yield number and description of each event of a whole run that the rest of it contradicts."""
    checks = (differing_verdicts, differing_limits, differing_figures, differing_values)
    return chain.from_iterable(check(events) for check in checks)
