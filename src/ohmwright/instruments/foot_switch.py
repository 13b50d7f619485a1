"""The generator's foot switch, which a person presses and releases as they are told."""

from __future__ import annotations

from contextlib import suppress

from ohmwright.model.errors import OutOfCapability
from ohmwright.wire.clock import Clock

from .hand_requests import PressFootSwitch
from .operator import Operator

RELEASE = "RELEASE THE FOOT SWITCH NOW."
_TOLD_EVERY_S = 2.0


class FootSwitch:
    """Tells the person to press and to release; what they do shows in the readings alone."""

    def __init__(self, operator: Operator, clock: Clock) -> None:
        self._operator, self._clock = operator, clock
        self.may_be_pressed = False
        """Whether the person was asked to press it, and it has not been seen to be up since."""
        self.told_to_release = False
        """Whether the person was told so since they were asked to press it."""
        self._told_s = 0.0

    async def press(self, most_s: float) -> None:
        """Ask the person to press it and hold it for at most `most_s` seconds."""
        self.told_to_release, self.may_be_pressed = False, True
        await self._operator.carry_out(PressFootSwitch(most_s))

    async def release(self) -> None:
        """Tell the person to release it; every two seconds, however often this is called."""
        now_s = self._clock.now_s()
        if self.told_to_release and now_s < self._told_s + _TOLD_EVERY_S:
            return
        self.told_to_release, self._told_s = True, now_s
        with suppress(OutOfCapability):  # nobody is there: the readings say how it ends
            await self._operator.tell(RELEASE)

    def note_up(self) -> None:
        """Note that it is up: no current was read after the person was told to release it."""
        self.may_be_pressed = False
        self._operator.take_back(RELEASE)
