"""Whether the meter's window is shorter than the analyzer's data state; a person is told once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ohmwright.estimation.transient_problem import window_explained_s
from ohmwright.model.result import Sample

_ACTIVATIONS = 2
"""How many must show it: in one, a reading may have been dated wrongly."""


class MeterWindow:
    """The window that the analyzer's data state, held against each rested activation.

    Readings that rise sooner than the quickest output could, averaged over the window that is
    stated, were averaged over a shorter one. A longer one does not show.
    """

    def __init__(self, stated_s: float) -> None:
        """`stated_s`: time over which each reading is said to be a mean."""
        self._stated_s = stated_s
        self._shorter_s: list[float] = []
        """The longest window that explains each activation which the stated one does not."""

    def finding(self, samples: Sequence[Sample]) -> str:
        """Take the readings of an activation, at least one; return what to tell a person, or ''."""
        ages_s, currents_ma = (np.array(column) for column in zip(*samples, strict=True))
        explained_s = window_explained_s(ages_s, currents_ma, self._stated_s)
        if explained_s is None or explained_s >= self._stated_s:
            return ""
        self._shorter_s.append(explained_s)
        if len(self._shorter_s) != _ACTIVATIONS:
            return ""
        return (
            f"finding about the analyzer's data: in {_ACTIVATIONS} activations the readings rose "
            f"sooner than means over {self._stated_s:g} s can; means over "
            f"{min(self._shorter_s):.2g} s or less explain them. The values allow for that. "
            "Correct window_s in the analyzer's data file by its manual"
        )
