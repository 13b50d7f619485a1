"""A generator with a port, spoken to through a command set."""

from __future__ import annotations

from ohmwright.model.errors import ProtocolError
from ohmwright.model.hardware import GeneratorData
from ohmwright.wire.dialogue import Dialogue
from ohmwright.wire.verified_dialogue import VerifiedDialogue

from .generator import Generator


class RemoteGenerator(Generator):
    """A generator that needs no person; each setting is read back.

    After a number is read, the identity is asked for with two numbers to be echoed. A line that is
    one reply late would answer with something else, so that the right answer proves that the number
    was the reply to its own question, by the same instrument.
    `identity`: what the identification must contain; empty where any unit will do.
    """

    unattended = True

    def __init__(self, data: GeneratorData, dialogue: Dialogue, identity: str = "") -> None:
        self.data = data
        self.dialogue = dialogue
        self.verbs = dialogue.commands.verbs
        self._verified = VerifiedDialogue(dialogue, identity)

    async def identify(self) -> str:
        """The identification, over a line that was proven to carry every digit."""
        return await self._verified.identify()

    async def select(self, mode: str, setting_w: float) -> None:
        """Set mode and power; return when both read back."""
        await self._verified.set_name("select_mode", "mode", mode, mode=mode)
        await self._verified.set_number("set_power", "power", setting_w, setting_w=setting_w)

    async def enter_service(self, point: str) -> int:
        """Enter service mode and choose `point`; its trim in counts."""
        await self._verified.set_count("service_on", "service", 1)
        await self._verified.set_name("set_point", "point", point, point=point)
        return await self._trim()

    async def move_trim(self, counts: int) -> int:
        """Move the trim by `counts` and read it back; the new trim in counts."""
        wanted = await self._trim() + counts
        await self._verified.set_count("set_trim", "trim", wanted, counts=wanted)
        return wanted

    async def store_trims(self) -> None:
        """Store the trims; return when it reads back as stored, where that can be asked.

        Sent once: what changes the instrument and has no setting to read back is never repeated.
        """
        await self.dialogue.tell("store")
        if self.dialogue.commands.can_ask("stored"):
            await self._refuse_unless_stored()

    async def leave_service(self) -> None:
        """Leave service mode; return when it reads back as left."""
        await self._verified.set_count("service_off", "service", 0)

    async def contact_alarm(self) -> bool:
        """Whether the contact quality alarm reads on."""
        alarm = await self._verified.number("contact_alarm") != 0
        await self.identify()
        return alarm

    async def _trim(self) -> int:
        """The trim in counts, proven to be the reply to its own question."""
        trim = round(await self._verified.number("trim"))
        await self.identify()
        return trim

    async def _refuse_unless_stored(self) -> None:
        """Raise ProtocolError where what the unit has stored is not where the trim stands."""
        stored, trim = await self._verified.number("stored"), await self._trim()
        if stored != trim:
            raise ProtocolError(
                f"The generator has kept the trim {stored:g}, not {trim}.",
                "Its adjustment would be lost on leaving service mode.",
                "Run the adjustment again.",
            )
