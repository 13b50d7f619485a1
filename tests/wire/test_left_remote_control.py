"""An instrument that locks itself, streams in two units, and wants pauses from the first message.

The Hale Nine is invented. `login 4417` unlocks it; locked, it refuses all else. Its lines go on.
"""

from __future__ import annotations

from typing import Any

import pytest

from ohmwright.instruments.back_ends.line import InstrumentLine
from ohmwright.instruments.back_ends.release_line import ReleaseLine
from ohmwright.model.errors import InstrumentRefused, LinkTimeout, ProtocolError
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.command_set import CommandSet
from ohmwright.wire.dialogue import Dialogue
from ohmwright.wire.guard.making_orders import release_orders
from ohmwright.wire.link import Link
from ohmwright.wire.off import OffTeller

from .conftest import LateLink

pytestmark = pytest.mark.anyio
DATA: dict[str, Any] = {
    "name": "hale-nine",
    "format": 2,
    "refused": "- {code:d} {text}",
    "opening": [{"send": "login 4417", "answer": "+ welcome"}],
    "codes": {"state": {"off": "open", "on": "closed"}},
    "ask": {
        "identify": {"send": "id", "reply": "+ id {identity}"},
        "state": {"send": "now", "reply": "+ now {state:code}"},
        "fetch_current": {"send": "ma", "reply": "+ {current_ma} mA"},
    },
    "tell": {
        "set_load": {"send": "load {load_ohm:.0f}", "answer": "+ load"},
        "on": {"send": "key {limit_s:.1f}", "answer": "+ key"},
        "off": {"send": "open", "answer": "+ open"},
    },
}
STREAM: dict[str, Any] = {
    "start": {"send": "watch", "answer": "+ watch"},
    "stop": {"send": "quiet", "answer": "+ quiet"},
    "line": ["M {current_ma} mA {state:code}", "M {current_a} A {state:code}"],
    "no_reading": "M ZERO",
    "over_range": "M OVER {state:code}",
    "answers": ["fetch_current", "state"],
}
STREAMING = DATA | {"stream": STREAM, "ask": {"identify": DATA["ask"]["identify"]}}
REPLIES = {
    b"id": b"+ id Hale Nine 90417",
    b"ma": b"+ 412.3 mA",
    b"watch": b"+ watch",
    b"quiet": b"+ quiet",
}
INTERVAL_S = 0.1


class Nine:
    """The instrument: what it answers, and its lines."""

    def __init__(self) -> None:
        self.locked, self.closed, self.streams = True, False, False
        self.lines = [b"M 412.3 mA %s"]
        """What its lines say, in turn."""

    def handle(self, message: bytes) -> bytes:
        word = message.strip()
        if word == b"login 4417":
            self.locked = False
            return b"+ welcome\n"
        if self.locked:
            return b"- 401 locked\n"
        if word == b"open":
            self.closed = False
            return b"+ open\n"
        if word in (b"watch", b"quiet"):
            self.streams = word == b"watch"
        if word == b"now":
            return b"+ now " + self.state + b"\n"
        return REPLIES.get(word, b"- 400 what") + b"\n"

    @property
    def state(self) -> bytes:
        return b"closed" if self.closed else b"open"

    def line(self) -> bytes:
        self.lines.append(form := self.lines.pop(0))
        return (form % self.state if b"%" in form else form) + b"\n"


class StreamingLink(Link):
    """A line to it on which its lines come, too."""

    name = "Hale Nine"

    def __init__(self, nine: Nine, clock: VirtualClock) -> None:
        self.nine, self.clock, self.written = nine, clock, list[bytes]()
        self._waiting, self._due_s = b"", clock.now_s()

    async def write(self, data: bytes) -> None:
        self._stream()
        self.written.append(data)
        for line in data.splitlines():
            self._waiting += self.nine.handle(line)

    async def read(self, timeout_s: float) -> bytes:
        end_s = self.clock.now_s() + timeout_s
        while not (data := self.waiting()):
            left_s = end_s - self.clock.now_s()
            if left_s <= 0:
                raise LinkTimeout("nothing came")
            self.clock.advance(min(left_s, INTERVAL_S))
        return data

    def waiting(self) -> bytes:
        self._stream()
        data, self._waiting = self._waiting, b""
        return data

    def _stream(self) -> None:
        while self._due_s < self.clock.now_s():
            self._due_s += INTERVAL_S
            if self.nine.streams:
                self._waiting += self.nine.line()

    async def aclose(self) -> None:
        """Nothing is open."""


def _asked(nine: Nine, **more: object) -> tuple[Dialogue, LateLink]:
    clock = VirtualClock()
    link = LateLink(nine.handle, clock)
    return Dialogue(link, CommandSet.model_validate(DATA | more), clock), link


async def _streamed(nine: Nine) -> Dialogue:
    clock = VirtualClock()
    commands = CommandSet.model_validate(STREAMING)
    dialogue = Dialogue(StreamingLink(nine, clock), commands, clock)
    await dialogue.resynchronise()
    return dialogue


async def test_off_that_is_refused_is_sent_again_after_the_opening() -> None:
    nine = Nine()
    dialogue, link = _asked(nine)
    await dialogue.resynchronise()
    nine.locked = nine.closed = True
    await OffTeller(dialogue).tell("off")
    assert link.written[-2:] == [b"login 4417\n", b"\nopen\n"]
    assert not nine.closed


async def test_off_on_a_line_out_of_step_is_sent_before_and_after_the_opening() -> None:
    nine = Nine()
    dialogue, link = _asked(nine)
    nine.closed = True
    await OffTeller(dialogue).tell("off")
    assert link.written == [b"\nopen\n", b"login 4417\n", b"\nopen\n"]
    assert not nine.closed


async def test_the_release_of_a_back_end_opens_anew_where_off_did_not_help() -> None:
    nine, clock = Nine(), VirtualClock()
    nine.closed = True
    link = LateLink(nine.handle, clock)
    orders = release_orders(CommandSet.model_validate(DATA))
    release = ReleaseLine(link, InstrumentLine(link, clock, 1.0), orders, clock)
    await release.switch_off()
    with pytest.raises(ProtocolError):
        await release.reads_on()
    await release.switch_off()
    assert not nine.closed
    assert not await release.reads_on()
    link.written.clear()
    await release.switch_off()
    assert link.written == [b"\n", b"open\n"]


async def test_a_refused_question_is_asked_again_after_the_opening() -> None:
    nine = Nine()
    dialogue, _ = _asked(nine)
    await dialogue.resynchronise()
    nine.locked = True
    assert await dialogue.ask_number("state") == 0


async def test_a_refused_command_is_not_repeated_and_the_next_one_is_taken() -> None:
    nine = Nine()
    dialogue, link = _asked(nine)
    await dialogue.resynchronise()
    nine.locked = True
    with pytest.raises(InstrumentRefused, match="401, locked"):
        await dialogue.tell("on", limit_s=5.0)
    assert link.written.count(b"key 5.0\n") == 1
    await dialogue.tell("off")
    assert not nine.locked


async def test_without_opening_messages_a_refusal_leaves_the_line_in_step() -> None:
    nine = Nine()
    nine.locked = False
    dialogue, link = _asked(nine, opening=[])
    await dialogue.resynchronise()
    with pytest.raises(InstrumentRefused, match="400, what"):
        await dialogue.tell("set_load", load_ohm=1.0)
    assert (await dialogue.ask_reading("fetch_current"))[0] == 412.3
    assert link.written[-2:] == [b"load 1\n", b"ma\n"]


async def test_the_first_message_on_a_line_comes_after_the_pause() -> None:
    """The guard, or a program before this one, may have spoken until now."""
    dialogue, _ = _asked(Nine(), pause_s=0.4)
    begun_s = dialogue.framing.now_s()
    await dialogue.resynchronise()
    assert dialogue.framing.trace[0][0] - begun_s > 0.399


async def test_off_waits_for_no_pause_on_a_new_line() -> None:
    dialogue, _ = _asked(Nine(), pause_s=0.4)
    begun_s = dialogue.framing.now_s()
    await OffTeller(dialogue).tell("off")
    assert dialogue.framing.trace[0][0] == begun_s


async def test_a_stream_of_a_locked_instrument_is_stopped_after_the_opening() -> None:
    nine = Nine()
    nine.streams = True
    dialogue = await _streamed(nine)
    assert (await dialogue.ask_reading("fetch_current"))[0] == 412.3


@pytest.mark.parametrize(
    ("line", "current_ma"),
    [(b"M 412.3 mA %s", 412.3), (b"M 1.0042 A %s", 1004.2), (b"M OVER %s", float("inf"))],
)
async def test_lines_of_a_stream_have_any_of_their_forms(line: bytes, current_ma: float) -> None:
    nine = Nine()
    nine.lines = [line]
    dialogue = await _streamed(nine)
    nine.closed = True
    assert (await dialogue.ask_reading("fetch_current"))[0] == pytest.approx(current_ma)
    assert await dialogue.ask_number("state") == 1


async def test_a_line_that_says_no_state_is_passed_over_for_one_that_does() -> None:
    nine = Nine()
    nine.lines = [b"M ZERO", b"M ZERO", b"M 412.3 mA %s"]
    dialogue = await _streamed(nine)
    for _ in range(6):
        assert await dialogue.ask_number("state") == 0


def test_a_line_that_says_no_state_says_nothing_to_the_guard() -> None:
    orders = release_orders(CommandSet.model_validate(STREAMING))
    assert orders.says_off(b"M ZERO") is None
    assert orders.says_off(b"M OVER open") is True
    assert orders.says_off(b"M 1.0042 A closed") is False
