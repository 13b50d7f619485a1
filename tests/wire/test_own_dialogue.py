"""A dialogue in the words of a command set of format 2: time-outs of its messages, error polls."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from ohmwright.model.errors import InstrumentRefused, LinkError, LinkTimeout, ProtocolError
from ohmwright.model.source import load
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.command_set import CommandSet
from ohmwright.wire.dialogue import Dialogue

from .conftest import LateLink

pytestmark = pytest.mark.anyio
COMMANDS = """\
format = 2
name = "terse"
timeout_s = 0.5

[ask]
identify = { send = "W", reply = "W {identity}" }
error = { send = "E", reply = "E{code:d} {text}" }
load = { send = "R", reply = "R{load_ohm}", timeout_s = 3 }

[tell]
set_load = "R{load_ohm:04d}"
"""


@pytest.fixture
def line(tmp_path: Path) -> Callable[[dict[bytes, bytes]], tuple[Dialogue, LateLink]]:
    """A dialogue with an instrument that has one reply to each message."""

    def made(replies: dict[bytes, bytes]) -> tuple[Dialogue, LateLink]:
        path = tmp_path / "terse.toml"
        path.write_text(COMMANDS, encoding="utf-8")
        clock = VirtualClock()
        link = LateLink(lambda message: replies.get(message.strip(), b""), clock)
        return Dialogue(link, load(path, CommandSet), clock), link

    return made


SOUND = {b"W": b"W Terse 1\n", b"E": b"E0 none\n", b"R": b"R300\n"}


async def test_a_message_has_a_time_out_of_its_own(line: Callable) -> None:
    dialogue, link = line(SOUND)
    await dialogue.resynchronise()
    link.delay_s = 2.0
    assert await dialogue.ask_number("load") == 300
    with pytest.raises(LinkError):  # too late for the time-out of all others
        await dialogue.ask("identify")


async def test_an_error_that_is_asked_for_after_a_command_refuses_it(line: Callable) -> None:
    dialogue, link = line({**SOUND, b"E": b"E12 no such load\n"})
    with pytest.raises(InstrumentRefused, match="refused 'R0300': 12, no such load"):
        await dialogue.tell("set_load", load_ohm=300.0)
    assert link.written[-2:] == [b"R0300\n", b"E\n"]


@pytest.mark.parametrize(
    "reply",
    [b"R300 and more than any form has" + b"!" * 100_000 + b"\n", b"R300\nR300\n", b"300\n"],
)
async def test_a_reply_that_is_longer_or_other_than_its_form_is_no_value(
    line: Callable, reply: bytes
) -> None:
    dialogue, link = line(SOUND)
    await dialogue.resynchronise()
    link.spoil = lambda said: reply if said.startswith(b"R") else said
    with pytest.raises((ProtocolError, LinkTimeout)) as refused:
        await dialogue.ask_number("load")
    assert len(str(refused.value)) < 500
