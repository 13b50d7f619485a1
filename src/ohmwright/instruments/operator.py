"""The person at the bench: what can be asked of them, as data."""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class SelectMode:
    """Choose mode and power setting on the front panel."""

    mode: str
    setting_w: float

    @property
    def text(self) -> str:
        """What the person reads."""
        return f"Set the generator to {self.mode}, {self.setting_w:g} W."


@dataclass(frozen=True)
class EnterService:
    """Bring the unit into service mode at an adjustment point."""

    point: str

    @property
    def text(self) -> str:
        """What the person reads."""
        return f"Enter service mode and choose adjustment point {self.point}."


@dataclass(frozen=True)
class PressKey:
    """Press the coarse or fine key a number of times."""

    key: Literal["coarse", "fine"]
    direction: Literal["up", "down"]
    presses: int

    @property
    def text(self) -> str:
        """What the person reads."""
        times = "once" if self.presses == 1 else f"{self.presses} times"
        return f"Press {self.key} {self.direction} {times}."


@dataclass(frozen=True)
class StoreTrims:
    """Save the adjustment."""

    text: str = "Save the adjustment in the generator."


@dataclass(frozen=True)
class LeaveService:
    """Return to normal use."""

    text: str = "Leave service mode."


@dataclass(frozen=True)
class LookAtAlarm:
    """Say whether the contact quality alarm is on."""

    text: str = "Is the contact quality alarm on?"


@dataclass(frozen=True)
class Inspect:
    """A yes or no question from the procedure; yes is good."""

    text: str


@dataclass(frozen=True)
class Instruct:
    """Something to be done before going on."""

    text: str


Request = (
    SelectMode
    | EnterService
    | PressKey
    | StoreTrims
    | LeaveService
    | LookAtAlarm
    | Inspect
    | Instruct
)


class Operator(ABC):
    """Carries out requests: a person at a terminal, or a simulated one."""

    name: str
    present: bool = True

    @abstractmethod
    async def carry_out(self, request: Request) -> bool:
        """Return when it is done; for a question, whether the answer is yes.

        Raises OutOfCapability when nobody is there to do it.
        """
