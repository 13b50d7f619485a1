"""Invented instruments in virtual time: lines that are as slow as they are said to be."""

from __future__ import annotations

from collections.abc import Callable

from ohmwright.model.errors import LinkTimeout
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.link import Link

from .port import Port

STEP_S = 0.01


class World:
    """The instruments on a table, whose time follows a bench's clock."""

    def __init__(self, clock: VirtualClock) -> None:
        self.clock, self.time_s = clock, clock.now_s()
        self.lines: list[VirtualLine] = []

    def now_s(self) -> float:
        """The time of the instruments."""
        return self.time_s

    def catch_up(self) -> None:
        """Let everything happen until the time of the clock."""
        while self.time_s < self.clock.now_s():
            self.time_s = min(self.time_s + STEP_S, self.clock.now_s())
            for line in self.lines:
                line.happen()


class VirtualLine(Link):
    """A line to an instrument that is no thread here; `spoil` may change what passes on it."""

    harmless = True

    name = "invented instrument"

    def __init__(self, world: World, instrument: Port, character_s: float = 0.0) -> None:
        self._world, self._instrument, self._character_s = world, instrument, character_s
        self._coming: list[tuple[float, bytes]] = []
        self._going: list[tuple[float, bytes]] = []
        self._said_s = 0.0
        self.spoil_message: Callable[[bytes], list[tuple[float, bytes]]] = _as_it_is
        self.spoil_reply: Callable[[bytes], list[tuple[float, bytes]]] = _as_it_is
        instrument.say = self._say  # type: ignore[method-assign]
        world.lines.append(self)

    def happen(self) -> None:
        """Let the instrument hear what has arrived by now, and do what is due."""
        while self._going and self._going[0][0] <= self._world.time_s:
            self._instrument.hear(self._going.pop(0)[1])
        self._instrument.tick()

    def _say(self, data: bytes) -> None:
        """Have `data` on its way: its last character comes when the line has carried them all."""
        for later_s, piece in self.spoil_reply(data):
            begun_s = max(self._said_s, self._world.time_s)
            self._said_s = begun_s + self._character_s * len(piece)
            self._coming.append((self._said_s + later_s, piece))
        self._coming.sort(key=lambda due: due[0])

    async def write(self, data: bytes) -> None:
        """Send `data`, which arrives when the line has carried it."""
        self._world.catch_up()
        for later_s, piece in self.spoil_message(data):
            due_s = self._world.clock.now_s() + self._character_s * len(piece) + later_s
            self._going.append((due_s, piece))
        self.happen()

    async def read(self, timeout_s: float) -> bytes:
        """What comes within `timeout_s`."""
        end_s = self._world.clock.now_s() + timeout_s
        while not (data := self.waiting()):
            left_s = end_s - self._world.clock.now_s()
            if left_s <= 0:
                raise LinkTimeout("nothing came")
            await self._world.clock.sleep(min(STEP_S / 2, left_s))
        return data

    def waiting(self) -> bytes:
        """What has come by now."""
        self._world.catch_up()
        due = [piece for due_s, piece in self._coming if due_s <= self._world.time_s]
        self._coming = self._coming[len(due) :]
        return b"".join(due)

    async def aclose(self) -> None:
        """Nothing is open."""


def _as_it_is(data: bytes) -> list[tuple[float, bytes]]:
    return [(0.0, data)]
