"""What a person does in place of the analyzer, and what the analyzer's data then mean."""

from __future__ import annotations

from collections.abc import Collection
from typing import Literal

from .hardware import ActivationOutput, AnalyzerData

HandVerb = Literal["load", "path", "contact", "foot switch", "reading"]
"""Set the load resistance, join the input, set the resistance of the contact quality circuit, key
the generator with its foot switch, type what the meter shows."""
WITHOUT_LINK: tuple[HandVerb, ...] = ("load", "foot switch", "reading")
"""What a person must do where nothing reaches the analyzer; and path and contact where it has them.
"""
NO_PORT = "from the bench file; the unit has no port"
"""Behind what a unit is said to be that nobody asked."""
_TYPED_PER_S = 0.25
"""Readings that a person looks at and types in a second; common practice, no source."""


def data_by_hand(data: AnalyzerData, by_hand: Collection[HandVerb]) -> AnalyzerData:
    """Return what the analyzer can do where a person does the verbs `by_hand`.

    A foot switch is bounded by nothing but the person; typed readings come as slowly as they type.
    """
    changes: dict[str, object] = {}
    if "foot switch" in by_hand:
        changes["activation"] = ActivationOutput()
    if "reading" in by_hand:
        per_s = min(_TYPED_PER_S, data.meter.readings_per_s)
        changes["meter"] = data.meter.model_copy(update={"readings_per_s": per_s})
    return data.model_copy(update=changes) if changes else data
