"""The generator's monitor of the neutral electrode: an alarm with hysteresis."""

from __future__ import annotations

from .unit import MonitorParameters

GOOD_CONTACT_OHM = 10.0
"""What the monitor sees while the analyzer's contact quality circuit is not joined to it."""


class ContactMonitor:
    """Alarms above one resistance and clears below a lower one, each after its response time."""

    def __init__(self, monitor: MonitorParameters) -> None:
        self._monitor = monitor
        self._wanted = False
        self._changes_s = 0.0

    def see(self, resistance_ohm: float, now_s: float) -> None:
        """Take a new resistance between the halves of the electrode, at the time `now_s`."""
        if self._monitor.clear_ohm <= resistance_ohm <= self._monitor.alarm_ohm:
            return
        wanted = resistance_ohm > self._monitor.alarm_ohm
        if wanted != self._wanted:
            self._wanted, self._changes_s = wanted, now_s + self._monitor.response_s

    def alarm(self, now_s: float) -> bool:
        """Whether the alarm is on at `now_s`."""
        return self._wanted if now_s >= self._changes_s else not self._wanted
