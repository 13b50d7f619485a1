"""An instrument that is busy now and then, and has what it was told then said to it again."""

import pytest

from ohmwright.instruments.remote_analyzer import RemoteAnalyzer
from ohmwright.model.errors import ProtocolError
from ohmwright.model.hardware import AnalyzerData
from ohmwright.model.shipped import shipped
from ohmwright.model.source import load
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.command_set import CommandSet
from ohmwright.wire.dialogue import Dialogue
from ohmwright.wire.off import OffTeller

from .conftest import LateLink
from .test_left_remote_control import DATA, Nine

pytestmark = pytest.mark.anyio
METER = load(shipped("analyzers", "gantry-400.toml"), AnalyzerData, table="data")
TWICE = [b"wait\n", b"wait\n"]


class Busy(Nine):
    """The Hale Nine, which puts off the next messages with each of `put_off`."""

    def __init__(self) -> None:
        super().__init__()
        self.put_off = list[bytes]()
        self.told = list[bytes]()

    def handle(self, message: bytes) -> bytes:
        if self.put_off:
            return self.put_off.pop()
        self.told.append(message)
        if message.startswith(b"key"):
            return b"+ key\n"
        return super().handle(message)


async def _in_step() -> tuple[Busy, Dialogue, LateLink]:
    nine, clock = Busy(), VirtualClock()
    link = LateLink(nine.handle, clock)
    dialogue = Dialogue(link, CommandSet.model_validate(DATA | {"busy": "wait"}), clock)
    await dialogue.resynchronise()
    link.written.clear()
    return nine, dialogue, link


async def test_what_a_busy_instrument_puts_off_is_said_again() -> None:
    nine, dialogue, link = await _in_step()
    nine.put_off = list(TWICE)
    assert await dialogue.ask_reading("fetch_current") == (412.3, None)
    assert link.written == [b"ma\n"] * 3


async def test_one_that_is_busy_while_the_line_is_proved_is_waited_for() -> None:
    nine, dialogue, _ = await _in_step()
    nine.put_off = list(TWICE)
    await dialogue.resynchronise()


async def test_a_number_that_is_put_off_is_sent_again() -> None:
    """Would notice a line that is given up, and RF with it, since its proof came when busy."""
    put_off, clock = list(TWICE), VirtualClock()

    def handle(message: bytes) -> bytes:
        return put_off.pop() if put_off else message.split()[-1] + b"\n"

    ask = DATA["ask"] | {"resynchronise": "echo {nonce:d}"}
    commands = CommandSet.model_validate(DATA | {"busy": "wait", "ask": ask, "opening": []})
    dialogue = Dialogue(LateLink(handle, clock), commands, clock)
    dialogue.try_once()
    await dialogue.resynchronise()
    assert clock.now_s() < commands.timeout_s


async def test_rf_counts_as_on_since_the_on_that_was_not_put_off() -> None:
    """Would notice values that are dated by the time that it was busy, or took to answer."""
    nine, dialogue, link = await _in_step()
    analyzer = RemoteAnalyzer(METER, dialogue)
    nine.put_off, link.delay_s, begun_s = list(TWICE), 0.05, dialogue.framing.now_s()
    await analyzer.switch_on(5)
    assert analyzer.on_since_s == pytest.approx(begun_s + 2 * (0.05 + 0.1))
    assert link.written == [b"key 5.0\n"] * 3
    assert nine.told[-1:] == [b"key 5.0\n"]


async def test_one_that_stays_busy_is_given_up() -> None:
    nine, dialogue, link = await _in_step()
    nine.put_off = TWICE * 20
    with pytest.raises(ProtocolError, match="it says that it is busy"):
        await dialogue.tell("on", limit_s=5)
    tries = len(link.written)
    assert tries < 20
    nine.put_off.clear()
    await OffTeller(dialogue).tell("off")
    assert b"key" not in b"".join(link.written[tries:])


async def test_off_that_is_put_off_is_sent_again_at_once() -> None:
    nine, dialogue, link = await _in_step()
    nine.closed, nine.put_off, begun_s = True, TWICE[:1], dialogue.framing.now_s()
    await OffTeller(dialogue).tell("off")
    assert not nine.closed
    assert dialogue.framing.now_s() == begun_s
    assert link.written.count(b"\nopen\n") == 1
