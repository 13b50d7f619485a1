"""What comes by itself and says nothing is passed over; a busy instrument is left alone."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from ohmwright.instruments.back_ends.line import InstrumentLine
from ohmwright.instruments.back_ends.release_line import ReleaseLine
from ohmwright.model.errors import InstrumentRefused, LinkTimeout, ProtocolError
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.command_set import CommandSet
from ohmwright.wire.dialogue import Dialogue
from ohmwright.wire.frame_layout import FrameLayout
from ohmwright.wire.guard.making_orders import release_orders
from ohmwright.wire.guard.orders import ReleaseOrders
from ohmwright.wire.guard.port_release import PortRelease
from ohmwright.wire.guard.ports import BlockingPort
from ohmwright.wire.link import Link

pytestmark = pytest.mark.anyio

ALIVE = b"\xf0\x00\x1f"
FRAME = {
    "begins": "<C3>",
    "length": "u8",
    "ends": "",
    "checksum": "crc16-ccitt-false",
    "checksum_form": "binary",
    "checksum_over": ["length", "body"],
}
DATA: dict[str, Any] = {
    "name": "ardle-12",
    "format": 2,
    "frame": FRAME,
    "refused": "<EE>{code:u8}",
    "unasked": ["<F0>{:2}", "<86>"],
    "codes": {"state": {"off": ["<00>"], "on": ["<01>"]}},
    "ask": {
        "identify": {"send": "<01>", "reply": "<81>{identity:14}"},
        "state": {"send": "<07>", "reply": "<87>{state:code}"},
    },
    "tell": {
        "set_load": {"send": "<02>{load_ohm:u16}", "answer": "<82>", "busy_s": 0.8},
        "on": {"send": "<05>{limit_s:u16*0.1}", "answer": "<85>"},
        "off": {"send": "<06>", "answer": []},
    },
}
REPLIES = {
    b"\x01": b"\x81ARDLE12 A12-77",
    b"\x07": b"\x87\x00",
    b"\x02\x01\x2c": b"\x82",
    b"\x02\x00\x0a": b"\xee\x02",
}
"""The reply to each message; OFF has none in time."""


class Ardle:
    """The invented Ardle 12, which says that it is alive before and behind each of its replies."""

    def __init__(self, layout: FrameLayout, cut_at: int = 0) -> None:
        self.layout, self.cut_at = layout, cut_at

    def replies(self, message: bytes) -> list[bytes]:
        """What comes for `message`, in pieces as it comes."""
        alive = self.layout.wrap(ALIVE)
        body = self.layout.open(message)
        if body not in REPLIES:
            return [alive]
        whole = alive + self.layout.wrap(REPLIES[body]) + alive
        at = len(whole) - self.cut_at
        return [piece for piece in (whole[:at], whole[at:]) if piece]


class ArdleLink(Link):
    """A line to it, whose pieces come one at a time."""

    name = "Ardle 12"

    def __init__(self, clock: VirtualClock, instrument: Ardle) -> None:
        self.clock, self.instrument = clock, instrument
        self.pieces: list[bytes] = []
        self.written: list[tuple[float, bytes]] = []

    async def write(self, data: bytes) -> None:
        self.written.append((self.clock.now_s(), data))
        self.pieces += self.instrument.replies(data)

    async def read(self, timeout_s: float) -> bytes:
        if not self.pieces:
            self.clock.advance(timeout_s)
            raise LinkTimeout("nothing came")
        return self.pieces.pop(0)

    async def aclose(self) -> None:
        """Nothing is open."""


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@pytest.fixture
def commands() -> CommandSet:
    return CommandSet.model_validate(DATA)


@pytest.fixture
def on_line(commands: CommandSet) -> Callable[..., tuple[Dialogue, ArdleLink]]:
    def put(cut_at: int = 0) -> tuple[Dialogue, ArdleLink]:
        clock = VirtualClock()
        link = ArdleLink(clock, Ardle(commands.frames[0], cut_at))
        return Dialogue(link, commands, clock), link

    return put


@pytest.mark.parametrize("cut_at", [0, 1, 6])
async def test_signs_of_life_around_a_reply_spoil_nothing(
    on_line: Callable[..., tuple[Dialogue, ArdleLink]], cut_at: int
) -> None:
    dialogue, link = on_line(cut_at)
    await dialogue.resynchronise()
    link.pieces.clear()
    said = len(link.written)
    assert await dialogue.ask("identify") == "ARDLE12 A12-77"
    assert len(link.written) == said + 1  # once: what followed made nothing suspect
    link.pieces.append(dialogue.commands.frames[0].wrap(b"\x86"))
    assert not dialogue.conversation.is_disturbed()


def test_a_reply_that_begins_like_a_sign_of_life_is_not_passed_over(commands: CommandSet) -> None:
    layout = commands.frames[1]
    alive, reply = layout.wrap(b"\x86"), layout.wrap(b"\x86\x01")
    assert layout.split(alive + reply + alive) == (reply, b"")


async def test_another_frame_behind_a_reply_is_none_that_is_passed_over(
    on_line: Callable[..., tuple[Dialogue, ArdleLink]],
) -> None:
    dialogue, link = on_line()
    await dialogue.resynchronise()
    both = b"".join(map(dialogue.commands.frames[0].wrap, (b"\x87\x00", b"\x87\x01")))
    link.instrument.replies = lambda _: [both]  # type: ignore[method-assign]
    with pytest.raises(ProtocolError):
        await dialogue.ask("state")


async def test_nothing_is_said_while_the_load_switch_moves(
    on_line: Callable[..., tuple[Dialogue, ArdleLink]],
) -> None:
    dialogue, link = on_line()
    await dialogue.resynchronise()
    await dialogue.tell("set_load", load_ohm=300)
    told_s = link.written[-1][0]
    await dialogue.ask("identify")
    assert link.written[-1][0] - told_s >= 0.8


async def test_a_binary_refusal_is_shown_as_a_command_set_writes_it(
    on_line: Callable[..., tuple[Dialogue, ArdleLink]],
) -> None:
    dialogue, _ = on_line()
    await dialogue.resynchronise()
    with pytest.raises(InstrumentRefused) as refusal:
        await dialogue.tell("set_load", load_ohm=10)
    assert "<STX>" in refusal.value.happened
    assert ": 2, <EE><STX>." in refusal.value.happened
    assert refusal.value.happened.isprintable()


class ArdlePort(BlockingPort):
    """The guard's port of it."""

    def __init__(self, instrument: Ardle) -> None:
        self.instrument, self.came = instrument, b""
        self.offs = 0

    def write(self, data: bytes) -> None:
        self.offs += self.instrument.layout.open(data) == b"\x06"
        self.came += b"".join(self.instrument.replies(data))

    def read(self) -> bytes:
        came, self.came = self.came, b""
        return came

    def fileno(self) -> None:
        return None

    def close(self) -> None:
        """Nothing is open."""


def _as_handed(orders: ReleaseOrders) -> ReleaseOrders:
    """The orders as the guard's process reads them."""
    return ReleaseOrders.from_json(orders.as_json())


def test_the_guard_passes_over_signs_of_life(commands: CommandSet) -> None:
    port = ArdlePort(Ardle(commands.frames[0]))
    assert PortRelease(port, _as_handed(release_orders(commands))).switch_off()
    assert port.offs == 1


async def test_the_release_of_a_back_end_passes_over_them_too(commands: CommandSet) -> None:
    clock = VirtualClock()
    link = ArdleLink(clock, Ardle(commands.frames[0]))
    line = InstrumentLine(link, clock, 1.0)
    release = ReleaseLine(link, line, release_orders(commands), clock)
    await release.switch_off()
    assert not await release.reads_on()


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ({"unasked": "<87>{:1}"}, "may also be a reply to 'state'"),
        ({"unasked": "<EE>{:1}"}, "may also be a reply to"),  # a refusal
        ({"unasked": "<55>", "busy": "<55>"}, "may also be a reply to"),
        ({"unasked": "{}"}, "may also be a reply to"),
        ({"echo": True}, "cannot be told from what is echoed"),
        ({"tell": {**DATA["tell"], "off": {"send": "<06>", "busy_s": 1}}}, "nothing may wait"),
    ],
)
def test_what_would_hide_a_reply_or_hold_up_off_is_refused(
    change: dict[str, Any], what: str
) -> None:
    with pytest.raises(ValueError, match=what):
        CommandSet.model_validate({**DATA, **change})
