"""Instruments to speak to: one that answers late, loses, garbles or stops, in virtual time."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import anyio
import pytest

from ohmwright.model.errors import LinkLost, LinkTimeout
from ohmwright.simulator.dispatcher import CommandError, Dispatcher, common_commands
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.command_set import load_command_set
from ohmwright.wire.dialogue import Dialogue
from ohmwright.wire.link import Link


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@dataclass
class LateLink(Link):
    """Delivers each reply `delay_s` after its message; `spoil` may change, drop or add to it."""

    handle: Callable[[bytes], bytes]
    clock: VirtualClock
    name: str = "instrument"
    delay_s: float = 0.0
    spoil: Callable[[bytes], bytes] = bytes
    on_checkpoint: Callable[[], None] = lambda: None
    written: list[bytes] = field(default_factory=list)
    unplugged: bool = False
    _input: bytes = b""
    _due: list[tuple[float, bytes]] = field(default_factory=list)

    async def write(self, data: bytes) -> None:
        await self._checkpoint()
        self.written.append(data)
        *lines, self._input = (self._input + data).split(b"\n")
        for line in lines:
            reply = self.spoil(self.handle(line + b"\n"))
            if reply:
                self._due.append((self.clock.now_s() + self.delay_s, reply))
        await self._checkpoint()

    async def read(self, timeout_s: float) -> bytes:
        await self._checkpoint()
        deadline_s = self.clock.now_s() + timeout_s
        if not self._due or self._due[0][0] > deadline_s:
            self.clock.advance(timeout_s)
            raise LinkTimeout("nothing came")
        due_s, data = self._due[0]
        self.clock.advance(due_s - self.clock.now_s())
        del self._due[0]
        return data

    async def aclose(self) -> None:
        self.unplugged = True

    async def _checkpoint(self) -> None:
        if self.unplugged:
            raise LinkLost("unplugged")
        self.on_checkpoint()
        await anyio.lowlevel.checkpoint()


class Instrument:
    """A small SCPI instrument whose every query has an answer of its own."""

    def __init__(self) -> None:
        self.load_ohm, self.on, self.readings = 300.0, False, 0
        self.dispatcher = Dispatcher()
        common_commands(self.dispatcher, "Maker,Model,1,0", lambda: None)
        on = self.dispatcher.on
        on("INPut:IMPedance", self._set_load)
        on("INPut:IMPedance?", lambda _: f"{self.load_ohm:+.5E}")
        on("OUTPut:STATe", self._set_state)
        on("OUTPut:STATe?", lambda _: str(int(self.on)))
        on("FETCh:CURRent?", self._current)
        on("FETCh:CFACtor?", lambda _: "+1.41000E+00,1,00007")
        on("FETCh:WAVeform?", lambda _: b"#14\n\n\n\n")

    def _set_load(self, arguments: list[str]) -> None:
        load_ohm = float(arguments[0])
        if load_ohm > 2000:
            raise CommandError(-222)
        self.load_ohm = load_ohm

    def _set_state(self, arguments: list[str]) -> None:
        self.on = arguments[0] == "ON"

    def _current(self, _: list[str]) -> str:
        self.readings += 1
        return f"+3.51200E-01,A,{self.readings:05d}"


@dataclass
class Table:
    """An instrument, the line to it and the dialogue over that line."""

    instrument: Instrument
    link: LateLink
    dialogue: Dialogue


@pytest.fixture
def table() -> Table:
    clock, instrument = VirtualClock(), Instrument()
    link = LateLink(instrument.dispatcher.handle, clock)
    commands = load_command_set("scpi-1999-analyzer", Path("bench.toml"))
    return Table(instrument, link, Dialogue(link, commands, clock))
