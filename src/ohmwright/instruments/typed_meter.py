"""A meter that a person reads: what it shows is typed."""

from __future__ import annotations

from contextlib import suppress
from math import inf, nan

import anyio

from ohmwright.model.errors import LinkLost, OutOfCapability, UsageError
from ohmwright.model.hardware import MeterData
from ohmwright.wire.clock import Clock

from .analyzer import Reading
from .hand_requests import TypeReading, typed_current
from .operator import Interjection, Operator

POSTPONED = "Heard. First type what the meter shows with RF off: only that shows that RF is off."
"""What is told to who says `stop`, `skip` or `back` in place of that reading."""
_STILL_TRUE_S = 10.0
"""How long a zero that was typed with RF off counts as what the meter shows."""
_STILL_TYPING_S = 1.0
"""An answer that comes so soon after a question was withdrawn may be the end of the figure that was
being typed for it, as 0 of 400; nobody sees a meter fall to zero in that time."""


class TypedMeter:
    """Asks for each reading; keeps how coarsely it was typed and how surely it is dated."""

    def __init__(self, meter: MeterData, operator: Operator, clock: Clock) -> None:
        self._meter, self._operator, self._clock = meter, operator, clock
        self.latest_ma = 0.0
        """What was typed last."""
        self.digit_ma = meter.resolution_ma
        """The coarsest last digit typed since `begin`."""
        self.look_s = 0.0
        """The longest that a person looked and typed since `begin`."""
        self.typed_s: float | None = None
        """When something was typed last, by the bench's clock; None before."""
        self._zero_until_s, self._withdrawn_s = 0.0, -inf
        self._postponed: Interjection | None = None

    def begin(self) -> None:
        """Begin an activation: nothing typed before counts as what the meter shows."""
        self.digit_ma, self.look_s, self._zero_until_s = self._meter.resolution_ma, 0.0, 0.0

    async def read(self, quantity: str, until_s: float) -> Reading:
        """Ask for what the meter shows; no reading where it is not typed until `until_s`.

        Raises StopRun, GoBack or SkipStep where the person says so.
        """
        self.raise_postponed()
        with anyio.move_on_after(until_s - self._clock.now_s()):
            return await self._ask(TypeReading(self._meter, quantity))
        self._withdrawn_s = self._clock.now_s()
        return Reading(nan, None, by_hand=True)

    async def read_off(self) -> Reading:
        """Ask for what the meter shows with RF off, however often the person says something else.

        What they say instead is raised by `raise_postponed`, and by the next `read`. An answer
        that may have been begun for the question before is asked for again. Raises LinkLost where
        nobody answers.
        """
        if self._clock.now_s() < self._zero_until_s:
            return Reading(self.latest_ma, None, by_hand=True)
        while True:
            try:
                reading = await self._ask(TypeReading(self._meter, rf_to_be_off=True))
            except Interjection as said:
                self._postponed = said
                with suppress(OutOfCapability):  # an operator who cannot be told was heard as well
                    await self._operator.tell(POSTPONED)
            except UsageError as nobody:
                raise LinkLost("Nobody answers at the bench.", nobody.happened, nobody.do) from None
            else:
                self._operator.take_back(POSTPONED)
                withdrawn_s, self._withdrawn_s = self._withdrawn_s, -inf
                if self._clock.now_s() < withdrawn_s + _STILL_TYPING_S:
                    continue  # once: a simulated clock may stand still while a person is asked
                if reading.current_ma <= self._meter.largest_zero_ma:
                    self._zero_until_s = self._clock.now_s() + _STILL_TRUE_S
                return reading

    def raise_postponed(self) -> None:
        """Raise what was said in place of a reading with RF off, now that it was read."""
        said, self._postponed = self._postponed, None
        if said is not None:
            raise said

    async def _ask(self, request: TypeReading) -> Reading:
        asked_s = self._clock.now_s()
        answer = await self._operator.carry_out(request)
        typed = typed_current(answer.word)
        assert typed is not None  # the request takes nothing else
        self.latest_ma = typed.current_ma
        self.digit_ma = max(self.digit_ma, typed.digit_ma)
        self.typed_s = self._clock.now_s()
        self.look_s = max(self.look_s, self.typed_s - asked_s)
        return Reading(typed.current_ma, None, by_hand=True)
