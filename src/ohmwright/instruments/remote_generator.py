"""A generator with a port, behind a command set."""

from __future__ import annotations

from ohmwright.model.errors import ProtocolError
from ohmwright.model.hardware import GeneratorData
from ohmwright.wire.dialogue import Dialogue
from ohmwright.wire.verified_dialogue import VerifiedDialogue

from .generator import Generator


class RemoteGenerator(Generator):
    """Needs no person. What it was told is read back, and each verb ends on a proven line."""

    unattended = True

    def __init__(self, data: GeneratorData, dialogue: Dialogue, identity: str = "") -> None:
        self.data = data
        self.dialogue = dialogue
        self.verbs = dialogue.commands.verbs
        self._verified = VerifiedDialogue(dialogue, identity)

    async def identify(self) -> str:
        """The identification; the line is proven by it."""
        return await self._verified.identify()

    async def select(self, mode: str, setting_w: float) -> None:
        """Choose mode and setting, and see that both were taken."""
        await self._verified.set_name("select_mode", "mode", mode, mode=mode)
        await self._verified.set_number("set_power", "power", setting_w, setting_w=setting_w)

    async def enter_service(self, point: str) -> int:
        """Enter service mode, choose the point, read its trim."""
        await self._verified.set_count("service_on", "service", 1)
        await self._verified.set_name("set_point", "point", point, point=point)
        return await self._trim()

    async def move_trim(self, counts: int) -> int:
        """Set the trim and read it back."""
        wanted = await self._trim() + counts
        await self._verified.set_count("set_trim", "trim", wanted, counts=wanted)
        return wanted

    async def store_trims(self) -> None:
        """Keep the trims, and see that the chosen point's was kept."""
        await self.dialogue.tell("store")
        if self.dialogue.commands.can_ask("stored"):
            await self._see_stored()

    async def leave_service(self) -> None:
        """Leave service mode."""
        await self._verified.set_count("service_off", "service", 0)

    async def contact_alarm(self) -> bool:
        """Read the alarm."""
        alarm = await self._verified.number("contact_alarm") != 0
        await self.identify()
        return alarm

    async def _trim(self) -> int:
        trim = round(await self._verified.number("trim"))
        await self.identify()
        return trim

    async def _see_stored(self) -> None:
        stored, trim = await self._verified.number("stored"), await self._trim()
        if stored != trim:
            raise ProtocolError(
                f"The generator has kept the trim {stored:g}, not {trim}.",
                "Its adjustment would be lost on leaving service mode.",
                "Run the adjustment again.",
            )
