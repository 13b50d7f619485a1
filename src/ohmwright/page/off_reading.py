"""When RF was last read as off, for those who were not at the bench."""

from __future__ import annotations

from datetime import datetime, timedelta
from math import inf

from ohmwright.model.bench_status import BenchStatus

_SAME_READING_S = 0.01


class OffReading:
    """The latest reading of off among the statuses of a bench."""

    def __init__(self) -> None:
        self.at: datetime | None = None
        """By this computer's clock; None where RF never was read as off."""
        self._read_s = -inf

    def note(self, moment: BenchStatus, now: datetime) -> None:
        """Take the status that came at `now`; one that repeats an older reading changes nothing."""
        read_s = moment.bench_s - moment.read_ago_s
        if moment.rf == "off" and read_s > self._read_s + _SAME_READING_S:
            self._read_s = read_s
            self.at = now - timedelta(seconds=moment.read_ago_s)
