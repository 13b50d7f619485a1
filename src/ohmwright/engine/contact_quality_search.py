"""Searches the resistances at which a contact quality monitor's alarm comes on and goes out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from ohmwright.instruments.bench import Bench

from .doubt import VerdictAndReason


class Threshold(NamedTuple):
    """Two resistances between which the alarm changes, approached from one side."""

    below_ohm: float
    above_ohm: float

    @property
    def middle_ohm(self) -> float:
        """The resistance halfway between them, the best single value."""
        return (self.below_ohm + self.above_ohm) / 2


class SearchResult(NamedTuple):
    """The thresholds at which the alarm comes on and goes out; None where they were not found."""

    alarm: Threshold | None = None
    clear: Threshold | None = None
    problem: str = ""
    """Why there are no thresholds; else empty."""
    alarm_changed: bool = False
    """Whether the alarm was seen to change, which shows that it is the unit's own."""
    verdict_instead: VerdictAndReason | None = None
    """What a person said of an alarm that never changed; None where nobody was asked."""


@dataclass(frozen=True)
class ContactQualitySearch:
    """A span of resistances to be searched, and how closely and slowly."""

    bench: Bench
    from_ohm: float
    to_ohm: float
    step_ohm: float
    """Largest width of a threshold."""
    wait_s: float
    """How long the monitor gets to answer each resistance."""

    async def thresholds(self) -> SearchResult:
        """Search both thresholds; say why where the alarm does not change within the span."""
        if await self._alarms_at(self.from_ohm):
            return SearchResult(problem=f"alarm at {self.from_ohm:g} ohm already")
        if not await self._alarms_at(self.to_ohm):
            return SearchResult(problem=f"no alarm up to {self.to_ohm:g} ohm")
        if await self._alarms_at(self.from_ohm):
            problem = f"the alarm does not go out at {self.from_ohm:g} ohm"
            return SearchResult(problem=problem, alarm_changed=True)
        return SearchResult(
            alarm=await self._threshold(coming_from_ohm=self.from_ohm),
            clear=await self._threshold(coming_from_ohm=self.to_ohm),
        )

    async def alarm_changes(self) -> bool:
        """Return whether the alarm differs at the analyzer's lowest and highest resistance.

        If not, the analyzer may not be joined to the unit, and nothing is known of its monitor.
        """
        span_ohm = self.bench.analyzer.data.contact_quality_ohm or (self.from_ohm, self.to_ohm)
        answers = {await self._alarms_at(ohm) for ohm in span_ohm}
        return len(answers) > 1

    async def _threshold(self, *, coming_from_ohm: float) -> Threshold:
        """Halve the span until it is no wider than a step; every trial comes from the same side."""
        below_ohm, above_ohm = self.from_ohm, self.to_ohm
        while above_ohm - below_ohm > self.step_ohm:
            middle_ohm = (below_ohm + above_ohm) / 2
            await self._alarms_at(coming_from_ohm)
            if await self._alarms_at(middle_ohm):
                above_ohm = middle_ohm
            else:
                below_ohm = middle_ohm
        return Threshold(below_ohm, above_ohm)

    async def _alarms_at(self, resistance_ohm: float) -> bool:
        await self.bench.analyzer.set_contact_resistance(resistance_ohm)
        await self.bench.clock.sleep(self.wait_s)
        return await self.bench.generator.contact_alarm()
