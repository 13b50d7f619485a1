"""What a screen is told, and when: nothing that changed waits, and nothing old looks new."""

import json
from collections.abc import AsyncIterator
from typing import Any

import anyio
import pytest

from ohmwright.api.bench_data import BenchChoice
from ohmwright.api.run_view import RunWatch
from ohmwright.model.bench_status import BenchStatus
from ohmwright.model.errors import ProgramFault
from ohmwright.model.shipped import shipped
from ohmwright.page import news
from ohmwright.page.benches import BenchOfFile
from ohmwright.page.desk import Desk
from ohmwright.page.lease import Lease
from ohmwright.page.news import BEAT_S, Newsroom
from ohmwright.page.screens import Screens
from ohmwright.wire.clock import VirtualClock
from tests.records.some_events import point

LONG_S = 300.0


class Room:
    """One bench of which a screen is told; `draw` draws it as the server does every moment."""

    def __init__(self, stream: AsyncIterator[str], newsroom: Newsroom, clock: VirtualClock) -> None:
        self.desk, self.clock, self._stream = newsroom.desks[0], clock, stream
        self.draw = lambda: newsroom._draw(self.desk)

    async def told(self) -> tuple[str, dict[str, Any]]:
        """Kind and content of the next message, for which nobody waits."""
        with anyio.fail_after(LONG_S / 10):
            kind, data = (await anext(self._stream)).strip().split("\n")
        return kind.removeprefix("event: "), json.loads(data.removeprefix("data: "))

    async def news(self) -> dict[str, Any]:
        """What is told of the bench once it is drawn."""
        self.draw()
        kind, said = await self.told()
        assert kind == "bench"
        return said


@pytest.fixture
async def room() -> Room:
    clock = VirtualClock()
    screens = Screens(clock)
    source = BenchOfFile(BenchChoice(shipped("benches", "demo.toml")))
    lease = Lease(screens, clock)
    desk = Desk(1, source, None, lease, clock, lambda _: ProgramFault("?"))
    newsroom = Newsroom([desk], screens, clock)
    screen = await screens.arriving("")
    assert screen is not None
    made = Room(newsroom.stream(screen), newsroom, clock)
    assert (await made.told())[0] == "hello"
    return made


@pytest.mark.anyio
async def test_what_changes_while_a_message_is_sent_is_told_at_once(
    room: Room, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It waited for the next beat, a second: RF that had gone off still stood there as on."""
    monkeypatch.setattr(news, "BEAT_S", LONG_S)
    await room.news()
    room.desk.on_status(BenchStatus("off", 1.0))
    assert (await room.news())["now"]["picture"]["rf"]["state"] == "off"


@pytest.mark.anyio
async def test_times_go_on_while_nothing_is_heard_of_a_run(room: Room) -> None:
    await room.news()
    room.desk.state = "going on"
    room.clock.advance(BEAT_S)
    assert (await room.news())["now"]["state"] == "going on"


@pytest.mark.anyio
async def test_who_commands_and_asks_is_told_and_for_how_long_to_wait(room: Room) -> None:
    assert (await room.news())["now"]["holder"] is None
    room.desk.lease.do("take", 1)
    now = (await room.news())["now"]
    assert (now["holder"], now["asker"], now["take_over_in_s"]) == (1, None, None)


@pytest.mark.anyio
async def test_each_reading_and_result_is_told_once_and_those_of_another_run_anew(
    room: Room,
) -> None:
    desk, on = room.desk, BenchStatus("on", 1.0, current_ma=412.0)
    for _ in range(2):
        desk.on_status(on)
        desk.on_status(on)  # the same reading: it came but once
        desk.on_event(point())
        said = await room.news()
        assert said["readings"] == [[1.0, 412.0]]
        assert [one["number"] for one in said["results"]["new"]] == [1]
        desk.on_status(BenchStatus("off", 2.0, current_ma=0.0))
        said = await room.news()
        assert (said["readings"], said.get("results")) == ([], None)
        desk._begin_watch(RunWatch())
