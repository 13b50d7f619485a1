"""Whether the meter's window is shorter than the analyzer's data state; a person is told once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ohmwright.estimation.activation_record import ActivationRecord, mean_window_s
from ohmwright.estimation.followed_moves import window_by_moves_s
from ohmwright.estimation.transient_problem import window_explained_s
from ohmwright.model.hardware import MeterData
from ohmwright.model.result import Sample

_ACTIVATIONS = 2
"""How many must show it: in one, a reading may have been dated wrongly."""


def stated_window_s(meter: MeterData) -> float:
    """Return the time over which each reading is a plain mean, in s, by the analyzer's data."""
    return mean_window_s(meter.window_s, meter.averages_by)


class MeterWindow:
    """The window that the analyzer's data state, held against rises and moves.

    Readings that rise sooner than the quickest output could, averaged over the window that is
    stated, were averaged over a shorter one; so were readings that follow moves of a trim sooner
    than such means can. A longer window does not show.
    """

    def __init__(self, meter: MeterData) -> None:
        self._stated_s = stated_window_s(meter)
        self._shorter_s: list[float] = []
        """The longest window that explains each activation which the stated one does not."""
        self._is_told = False

    def finding(self, samples: Sequence[Sample]) -> str:
        """Take the readings of an activation, at least one; return what to tell a person, or ''."""
        ages_s, currents_ma = (np.array(column) for column in zip(*samples, strict=True))
        explained_s = window_explained_s(ages_s, currents_ma, self._stated_s)
        if explained_s is None or explained_s >= self._stated_s:
            return ""
        self._shorter_s.append(explained_s)
        if len(self._shorter_s) < _ACTIVATIONS:
            return ""
        return self._told_once(
            f"in {_ACTIVATIONS} activations the readings rose", min(self._shorter_s)
        )

    def finding_by_moves(self, record: ActivationRecord) -> str:
        """Take an activation in which a trim was moved; return what to tell a person, or ''."""
        explained_s = window_by_moves_s(record)
        if explained_s >= self._stated_s:
            return ""
        return self._told_once("the readings followed moves of a trim", explained_s)

    def _told_once(self, seen: str, explained_s: float) -> str:
        """Return what to tell of what was `seen`; empty where a person was told before."""
        if self._is_told:
            return ""
        self._is_told = True
        return (
            f"finding about the analyzer's data: {seen} sooner than means over "
            f"{self._stated_s:g} s can; means over {explained_s:.2g} s or less explain them. The "
            "values allow for that. Correct window_s in the analyzer's data file by its manual; "
            'of a meter that averages by a filter, say averages_by = "filter"'
        )
