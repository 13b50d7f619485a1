"""Cancelled at any pause, a dialogue asks again in step, and ON never goes out a second time."""

from collections.abc import Awaitable, Callable
from itertools import count
from typing import Any

import anyio
import pytest

from ohmwright.wire.off import OffTeller

pytestmark = pytest.mark.anyio

Talk = Callable[[Any], Awaitable[object]]


async def cancelled_at(pause: int, table: Any, talk: Talk) -> bool:
    """Run `talk` and cancel it at its pause of that number; whether it had so many."""
    left = [pause]

    def count_down() -> None:
        left[0] -= 1
        if left[0] < 0:
            scope.cancel()

    with anyio.CancelScope() as scope:
        table.link.on_checkpoint = count_down
        await talk(table.dialogue)
    table.link.on_checkpoint = lambda: None
    return scope.cancelled_caught


TALKS: dict[str, Talk] = {
    "a reading": lambda dialogue: dialogue.ask_reading("fetch_current"),
    "a block": lambda dialogue: dialogue.ask_block("fetch_waveform"),
    "a load": lambda dialogue: dialogue.tell("set_load", load_ohm=200),
    "on": lambda dialogue: dialogue.tell("on", limit_s=5),
    "off": lambda dialogue: OffTeller(dialogue).tell("off"),
    "resynchronisation": lambda dialogue: dialogue.resynchronise(),
}


@pytest.mark.parametrize("delay_s", [0.0, 0.4])
@pytest.mark.parametrize("talk", TALKS.values(), ids=TALKS)
async def test_every_pause(table: Any, talk: Talk, delay_s: float) -> None:
    table.link.delay_s = delay_s
    for pause in count():
        table.link.written.clear()
        if not await cancelled_at(pause, table, talk):
            break
        assert sum(b"STATe ON" in message for message in table.link.written) <= 1
        assert await table.dialogue.ask("identify") == "Maker,Model,1,0"
        assert await table.dialogue.ask_number("load") in (200, 300)
        await OffTeller(table.dialogue).tell("off")
        assert await table.dialogue.ask_number("state") == 0
    assert pause > 0


async def test_every_pause_from_a_suspect_line(table: Any) -> None:
    table.link.delay_s = 0.2
    for pause in count():
        await table.link.write(b"OUTPut:STATe?\n")  # whose answer nobody fetches
        if not await cancelled_at(
            pause, table, lambda dialogue: dialogue.ask_reading("fetch_current")
        ):
            break
        value, _ = await table.dialogue.ask_reading("fetch_current")
        assert value == 351.2
    assert pause > 2
