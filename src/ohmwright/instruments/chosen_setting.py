"""Mode and setting as they were chosen through a unit's port, and whether they still read so."""

from __future__ import annotations

from typing import Literal, Protocol


class AskedUnit(Protocol):
    """What asks a unit, twice each time."""

    async def identify(self) -> str:
        """The identity. Raises ProtocolError where another unit answers, or the line distorts."""

    async def other_name(self, back: Literal["mode"], name: str) -> str | None:
        """What `back` reads where it is not `name`; None where it is, or cannot be asked."""

    async def other_number(self, back: Literal["power"], value: float) -> str | None:
        """As `other_name`, where it is not `value`, but for rounding."""


class ChosenSetting:
    """The mode and the setting chosen last; none before that, and in service mode."""

    def __init__(self, asked: AskedUnit) -> None:
        self._asked = asked
        self._chosen: tuple[str, float] | None = None

    def note(self, mode: str, setting_w: float) -> None:
        """Take what was chosen and has read back."""
        self._chosen = mode, setting_w

    def forget(self) -> None:
        """Take that the unit has a setting of its own, as in service mode."""
        self._chosen = None

    async def changed(self) -> str:
        """What reads back otherwise, as a clause; empty where nothing does, or can be asked."""
        if self._chosen is None:
            return ""
        mode, setting_w = self._chosen
        if (other := await self._asked.other_name("mode", mode)) is not None:
            said = f"mode {other} reads back, not {mode}"
        elif (other := await self._asked.other_number("power", setting_w)) is not None:
            said = f"{other} W reads back, not {setting_w:g} W"
        else:
            return ""
        await self._asked.identify()  # else the line may have changed what it said
        return said
