"""A method that is given up leaves the line: nobody reads from it, and it writes nothing late."""

from __future__ import annotations

import threading

import anyio
import anyio.to_thread
import pytest

from ohmwright.instruments.back_ends.calls import Calls
from ohmwright.instruments.back_ends.line import InstrumentLine
from ohmwright.model.errors import LinkLost, LinkTimeout, ProtocolError
from ohmwright.wire.clock import RealClock
from ohmwright.wire.link import Link

pytestmark = pytest.mark.anyio


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


class Silent(Link):
    """Answers nothing, but for what waits on it; keeps who reads and what was written."""

    name = "silent"

    def __init__(self) -> None:
        self.readers, self.written, self.came = 0, b"", b""

    async def write(self, data: bytes) -> None:
        self.written += data

    async def read(self, timeout_s: float) -> bytes:
        self.readers += 1
        try:
            if self.came:
                came, self.came = self.came, b""
                return came
            await anyio.sleep(timeout_s)
            raise LinkTimeout("nothing came")
        finally:
            self.readers -= 1

    def waiting(self) -> bytes:
        return b""

    async def aclose(self) -> None:
        return


async def settled(link: Silent) -> tuple[InstrumentLine, Calls]:
    line = InstrumentLine(link, RealClock(), timeout_s=30)
    await line.settle()
    return line, Calls("slow", line, within_s=0.05)


async def test_a_read_that_is_given_up_ends() -> None:
    line, calls = await settled(link := Silent())
    with pytest.raises(LinkTimeout, match=r"'fetch_current' .*: it waited for a reply of silent"):
        await calls.call("fetch_current", lambda: line.ask(b"READ\n", b"\n"))
    assert (link.written, link.readers) == (b"READ\n", 0)


async def test_a_late_write_does_not_reach_the_instrument() -> None:
    line, calls = await settled(link := Silent())
    go_on, ended = threading.Event(), threading.Event()
    refused: list[Exception] = []

    def late() -> None:
        go_on.wait(10)
        try:
            line.write(b"ON\n")
        except LinkLost as problem:
            refused.append(problem)
        ended.set()

    with pytest.raises(LinkTimeout, match=r"did not finish 'on' within 0.05 s\. No value"):
        await calls.call("on", late)
    go_on.set()
    await anyio.to_thread.run_sync(ended.wait, 10)
    assert (link.written, len(refused)) == (b"", 1)


async def test_a_cancelled_call_leaves_the_line_too() -> None:
    line, _ = await settled(link := Silent())
    calls = Calls("slow", line, within_s=30)
    with anyio.move_on_after(0.05) as scope:
        await calls.call("fetch_current", lambda: line.ask(b"READ\n", b"\n"))
    assert (scope.cancelled_caught, link.readers) == (True, 0)


async def test_a_second_reply_that_nobody_asked_for_is_noticed() -> None:
    line, _ = await settled(link := Silent())
    calls = Calls("double", line, within_s=30)
    link.came = b"412\n413\n"

    def twice() -> bytes:
        return line.ask(b"READ\n", b"\n") + line.ask(b"READ\n", b"\n")

    with pytest.raises(ProtocolError, match="nobody had asked for"):
        await calls.call("fetch_current", twice)


async def test_what_waited_before_a_call_is_thrown_away() -> None:
    line, _ = await settled(link := Silent())
    calls = Calls("stale", line, within_s=30)
    link.came = b"412\n413\n"
    assert await calls.call("fetch_current", lambda: line.ask(b"READ\n", b"\n")) == b"412"
    link.came = b""
    with pytest.raises(LinkTimeout):
        await calls.call("fetch_current", lambda: line.ask(b"READ\n", b"\n", 0.01))
