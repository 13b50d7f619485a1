"""The abstract generator under test."""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import Literal

from ohmwright.model.hardware import GeneratorData
from ohmwright.wire.command_set import Verb

Key = Literal["coarse", "fine"]


class Generator(ABC):
    """The unit under test, worked through its port or by a person."""

    data: GeneratorData
    unattended: bool
    """Whether every verb works without a person."""
    verbs: frozenset[Verb] | None = None
    """What its command set has a message for; None where a person works it."""

    @abstractmethod
    async def identify(self) -> str:
        """Maker, model, serial number and firmware, as the unit or its label says them."""

    @abstractmethod
    async def select(self, mode: str, setting_w: float) -> None:
        """Choose the mode and its power setting."""

    async def setting_changed(self) -> str:
        """What reads back otherwise than it was chosen last, as a clause; empty where nothing does.

        Empty, too, where nothing can be asked, and in service mode, which has its own setting.
        """
        return ""

    @abstractmethod
    async def enter_service(self, point: str) -> int:
        """Enter service mode at adjustment point `point`; its trim in counts.

        For a unit that cannot tell its trim, counts begin at 0 here.
        """

    @abstractmethod
    async def move_trim(self, counts: int) -> int:
        """Move the trim of the chosen point by `counts`; the new trim in counts."""

    async def press(self, key: Key, times: int) -> int:
        """Press a key of the chosen point `times` times, down if negative; the new trim in counts.

        Through a port a coarse press moves the counts that the generator's data say; pressed by a
        person it may move others.
        """
        coarse = 1.0 if self.data.service is None else self.data.service.coarse_counts
        return await self.move_trim(times * (max(1, round(coarse)) if key == "coarse" else 1))

    @abstractmethod
    async def store_trims(self) -> None:
        """Store the trims of all points in the unit."""

    @abstractmethod
    async def leave_service(self) -> None:
        """Return to normal use; trims that were not stored are lost."""

    async def leave_unsaved(self) -> None:
        """Return to normal use in order to lose the trims that were not stored."""
        await self.leave_service()

    @abstractmethod
    async def contact_alarm(self) -> bool:
        """Whether the contact quality alarm is on."""
