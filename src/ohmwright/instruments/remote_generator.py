"""A generator with a port, behind a command set."""

from __future__ import annotations

from ohmwright.model.errors import ProtocolError
from ohmwright.model.hardware import GeneratorData
from ohmwright.wire.dialogue import Dialogue

from .generator import Generator


class RemoteGenerator(Generator):
    """Needs no person."""

    unattended = True

    def __init__(self, data: GeneratorData, dialogue: Dialogue) -> None:
        self.data = data
        self.dialogue = dialogue

    async def identify(self) -> str:
        """The identification."""
        return await self.dialogue.ask("identify")

    async def select(self, mode: str, setting_w: float) -> None:
        """Choose mode and setting, and see that the setting was taken."""
        await self.dialogue.tell("select_mode", mode=mode)
        await self.dialogue.tell("set_power", setting_w=setting_w)
        taken_w = await self.dialogue.ask_number("power")
        if abs(taken_w - setting_w) > 1e-3 * setting_w:
            raise ProtocolError(
                f"The generator is set to {taken_w:g} W, not to {setting_w:g} W.",
                "RF stayed off.",
                "Check the procedure against the generator's setting steps.",
            )

    async def enter_service(self, point: str) -> int:
        """Enter service mode, choose the point, read its trim."""
        await self.dialogue.tell("service_on")
        await self.dialogue.tell("set_point", point=point)
        return await self._trim()

    async def move_trim(self, counts: int) -> int:
        """Set the trim and read it back."""
        wanted = await self._trim() + counts
        await self.dialogue.tell("set_trim", counts=wanted)
        return await self._trim()

    async def store_trims(self) -> None:
        """Keep the trims."""
        await self.dialogue.tell("store")

    async def leave_service(self) -> None:
        """Leave service mode."""
        await self.dialogue.tell("service_off")

    async def contact_alarm(self) -> bool:
        """Read the alarm."""
        return await self.dialogue.ask_number("contact_alarm") != 0

    async def _trim(self) -> int:
        return round(await self.dialogue.ask_number("trim"))
