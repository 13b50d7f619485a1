"""Which values nobody can compute once more from what is on record, as papers say it."""

from __future__ import annotations

from collections.abc import Iterable

from ohmwright.engine.recomputed_values import recomputable
from ohmwright.model.event import Event

from .text import printable


def recomputed_text(events: Iterable[Event]) -> str:
    """Of which steps `record verify` cannot compute values once more, and why; empty for none."""
    steps = dict[str, dict[str, None]]()
    for one in recomputable(events)[1]:
        steps.setdefault(one.why, {})[one.step] = None
    if not steps:
        return ""
    named = "; ".join(f"{', '.join(found)} ({why})" for why, found in steps.items())
    return printable(
        "ohmwright record verify computes values once more from their readings on record, but not "
        f"those of {named}: they rest on the word of the record alone."
    )
