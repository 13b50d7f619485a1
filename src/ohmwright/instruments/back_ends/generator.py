"""A generator whose port a back end from outside works: what it says is checked first."""

from __future__ import annotations

from ohmwright.instruments.chosen_setting import ChosenSetting
from ohmwright.instruments.generator import Generator
from ohmwright.model.hardware import GeneratorData

from . import checked
from .verified_calls import VerifiedCalls


class BackEndGenerator(Generator):
    """Calls a back end's methods; each setting is read back where it can be."""

    unattended = True

    def __init__(self, data: GeneratorData, calls: VerifiedCalls) -> None:
        self.data, self._calls, self.verbs = data, calls, calls.verbs
        self._setting = ChosenSetting(calls)

    async def identify(self) -> str:
        """The identity, which must stay what it was."""
        return await self._calls.identify()

    async def select(self, mode: str, setting_w: float) -> None:
        """Set mode and power; return when both read back, where they can."""
        await self._calls.set_text("select_mode", "mode", mode)
        await self._calls.set_number("set_power", "power", setting_w)
        self._setting.note(mode, setting_w)

    async def setting_changed(self) -> str:
        """What reads back otherwise than it was chosen, as where somebody has turned a knob."""
        return await self._setting.changed()

    async def enter_service(self, point: str) -> int:
        """Enter service mode and choose `point`; its trim in counts."""
        self._setting.forget()
        await self._calls.tell("service_on")
        await self._calls.set_text("set_point", "point", point)
        return await self._trim()

    async def move_trim(self, counts: int) -> int:
        """Move the trim by `counts` and read it back; the new trim in counts."""
        wanted = await self._trim() + counts
        await self._calls.set_count("set_trim", "trim", wanted)
        return wanted

    async def store_trims(self) -> None:
        """Store the trims; called once."""
        await self._calls.tell("store")

    async def leave_service(self) -> None:
        """Leave service mode."""
        await self._calls.tell("service_off")

    async def contact_alarm(self) -> bool:
        """Whether the contact quality alarm reads on, twice."""
        return await self._calls.agreed("contact_alarm", checked.yes_or_no)

    async def _trim(self) -> int:
        trim = await self._calls.agreed("trim", checked.count)
        await self.identify()
        return trim

    async def aclose(self) -> None:
        """Have the back end close what it has opened by itself. Raises LinkError."""
        await self._calls.tell("close")
