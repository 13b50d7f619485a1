"""Tells from the readings whether the output has come on, and whether it has been lost."""

from __future__ import annotations

from ohmwright.model.result import Sample

_ONSET_RATIO = 0.1
"""Current over the target's at which an output has come on."""
_RISEN_RATIO = 0.3
"""Current over the target's from which a fall may be a loss of the output."""
_FALLEN_RATIO, _LOST_RATIO, _STEADY_RATIO = 0.85, 0.5, 0.05
"""Over the last valid reading: fallen below, lost below, and steady within."""


class OutputLossDetector:
    """Distinguishes a lost output from a spike and from a fall that a move has caused.

    Readings that fall are held back until it is clear which it is: the meter's window lets a lost
    output fall over several readings, which say nothing of the unit. Readings before the onset are
    held back, too.
    """

    def __init__(self, target_ma: float) -> None:
        self.output_lost = False
        """Whether the output has gone away."""
        self.onset_seen = False
        """Whether the output has come on."""
        self._onset_ma, self._risen_ma = _ONSET_RATIO * target_ma, _RISEN_RATIO * target_ma
        self._last_ma = 0.0
        self._held: list[Sample] = []

    def valid_readings(self, sample: Sample) -> list[Sample]:
        """Take a reading; return the readings now known to be valid, oldest first."""
        self._held.append(sample)
        self.onset_seen = self.onset_seen or sample.current_ma > self._onset_ma
        if not self.onset_seen:
            return []
        if self._has_fallen(sample.current_ma) and not self._is_steady():
            lost = sum(held.current_ma < _LOST_RATIO * self._last_ma for held in self._held)
            self.output_lost = lost >= 1 and len(self._held) > 1
            return []
        self._last_ma = sample.current_ma
        held, self._held = self._held, []
        return held

    def _has_fallen(self, current_ma: float) -> bool:
        return self._last_ma > self._risen_ma and current_ma < _FALLEN_RATIO * self._last_ma

    def _is_steady(self) -> bool:
        """Return whether the last two readings agree, at a level that is not a lost output's."""
        if len(self._held) < 2:
            return False
        before_ma, now_ma = (held.current_ma for held in self._held[-2:])
        agree = abs(now_ma - before_ma) < _STEADY_RATIO * self._last_ma
        return now_ma > _LOST_RATIO * self._last_ma and agree
