"""A generator without a port: every verb is a request to the person at the bench."""

from __future__ import annotations

from typing import Literal

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
    """Works through an operator. Trims count from 0 at entry into service mode."""

    unattended = False

    def __init__(self, data: GeneratorData, operator: Operator, label: str) -> None:
        self.data = data
        self._operator, self._label = operator, label
        self._trim = 0

    async def identify(self) -> str:
        """What the bench file says stands on the table, and that nothing read it."""
        return f"{self._label} (from the bench file; the unit has no port)"

    async def select(self, mode: str, setting_w: float) -> None:
        """Ask for mode and setting."""
        await self._operator.carry_out(SelectMode(mode, setting_w))

    async def enter_service(self, point: str) -> int:
        """Ask for service mode; the trim starts at 0."""
        await self._operator.carry_out(EnterService(point))
        self._trim = 0
        return 0

    async def move_trim(self, counts: int) -> int:
        """Ask for coarse presses, then fine ones for the rest.

        A coarse press moves only about what the data says; the reading tells the truth.
        """
        coarse, fine = divmod(abs(counts), self._coarse_counts)
        sign = 1 if counts > 0 else -1
        await self.press("coarse", sign * coarse)
        return await self.press("fine", sign * fine)

    async def press(self, key: Key, times: int) -> int:
        """Ask for the presses; the trim is told as the data say a press counts."""
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
        """Ask for the adjustment to be saved."""
        await self._operator.carry_out(StoreTrims())

    async def leave_service(self) -> None:
        """Ask for normal use."""
        await self._operator.carry_out(LeaveService())

    async def leave_unsaved(self) -> None:
        """Ask for normal use, without saving."""
        await self._operator.carry_out(LeaveUnsaved())

    async def contact_alarm(self) -> bool:
        """Ask whether the alarm is on."""
        return await self._operator.carry_out(LookAtAlarm()) == YES
