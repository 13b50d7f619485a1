"""A generator without a port: every verb is a request to the person at the bench."""

from __future__ import annotations

from typing import Literal

from ohmwright.model.by_hand import NO_PORT
from ohmwright.model.hardware import GeneratorData

from .generator import Generator, Key
from .operator import Operator
from .requests import (
    YES,
    EnterService,
    LeaveService,
    LeaveUnsaved,
    LookAtAlarm,
    PressKey,
    SelectMode,
    StoreTrims,
)


class HandOperatedGenerator(Generator):
    """A generator that a person works; trims count from 0 at entry into service mode."""

    unattended = False

    def __init__(self, data: GeneratorData, operator: Operator, label: str) -> None:
        self.data = data
        self._operator, self._label = operator, label
        self._trim = 0

    async def identify(self) -> str:
        """The unit as the bench file names it, with the remark that nothing read it."""
        return f"{self._label} ({NO_PORT})"

    async def select(self, mode: str, setting_w: float) -> None:
        """Ask the person to set mode and power."""
        await self._operator.carry_out(SelectMode(mode, setting_w))

    async def enter_service(self, point: str) -> int:
        """Ask the person to enter service mode; the trim is then 0."""
        await self._operator.carry_out(EnterService(point))
        self._trim = 0
        return 0

    async def move_trim(self, counts: int) -> int:
        """Ask for coarse presses, then fine ones for the rest; the new trim in counts.

        A coarse press moves only about what the generator's data say; what it moved shows in the
        readings.
        """
        coarse, fine = divmod(abs(counts), self._coarse_counts)
        sign = 1 if counts > 0 else -1
        await self.press("coarse", sign * coarse)
        return await self.press("fine", sign * fine)

    async def press(self, key: Key, times: int) -> int:
        """Ask for presses; the new trim, a press counted as the generator's data say."""
        if times != 0:
            direction: Literal["up", "down"] = "up" if times > 0 else "down"
            await self._operator.carry_out(PressKey(key, direction, abs(times)))
            self._trim += times * (self._coarse_counts if key == "coarse" else 1)
        return self._trim

    @property
    def _coarse_counts(self) -> int:
        service = self.data.service
        return 1 if service is None else max(1, round(service.coarse_counts))

    async def store_trims(self) -> None:
        """Ask the person to save the adjustment."""
        await self._operator.carry_out(StoreTrims())

    async def leave_service(self) -> None:
        """Ask the person to return to normal use."""
        await self._operator.carry_out(LeaveService())

    async def leave_unsaved(self) -> None:
        """Ask the person to return to normal use without saving."""
        await self._operator.carry_out(LeaveUnsaved())

    async def contact_alarm(self) -> bool:
        """Whether the person says that the alarm is on."""
        return await self._operator.carry_out(LookAtAlarm()) == YES
