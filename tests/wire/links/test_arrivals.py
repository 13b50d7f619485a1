"""Bytes that the event loop takes as they come: none lost, none for ever."""

from __future__ import annotations

import asyncio
import os
import socket
from collections.abc import AsyncIterator, Callable
from contextlib import suppress
from functools import partial

import anyio
import anyio.lowlevel
import pytest

from ohmwright.wire.links.arrivals import Arrivals

pytestmark = pytest.mark.anyio
LONG_S = 20.0
"""More than any wait takes, on a machine under load."""


class Pair:
    """A connected pair of sockets: `far` sends what arrives at `near`."""

    def __init__(self) -> None:
        self.far, self.near = socket.socketpair()
        for end in (self.far, self.near):
            end.setblocking(False)
        self.arrivals = Arrivals(self.near.fileno(), partial(self.near.recv, 65536))

    def fill(self) -> int:
        """Send until no more is taken; the number of bytes sent."""
        sent = 0
        with suppress(BlockingIOError):
            while True:
                sent += self.far.send(bytes(65536))
        return sent

    def close(self) -> None:
        self.arrivals.close()
        self.near.close()
        self.far.close()


@pytest.fixture
async def pair() -> AsyncIterator[Pair]:
    pair = Pair()
    yield pair
    pair.close()


async def until(condition: Callable[[], bool]) -> None:
    with anyio.fail_after(LONG_S):
        while not condition():  # noqa: ASYNC110 - nothing tells when it is so
            await anyio.sleep(0.001)


async def test_bytes_are_handed_out_once_and_silence_is_empty(pair: Pair) -> None:
    pair.far.send(b"one")
    assert await pair.arrivals.next(LONG_S) == b"one"
    assert await pair.arrivals.next(0.01) == b""
    assert pair.arrivals.here() == b""
    pair.far.send(b"two")
    assert pair.arrivals.here() == b"two"


async def test_what_comes_while_nobody_waits_and_in_a_cancelled_wait_is_kept(pair: Pair) -> None:
    with anyio.move_on_after(0.01):
        await pair.arrivals.next()
    pair.far.send(b"late")
    await until(lambda: pair.arrivals._came == b"late")
    pair.far.send(b"r")
    await until(lambda: pair.arrivals._came == b"later")
    assert await pair.arrivals.next(LONG_S) == b"later"


async def test_of_an_instrument_that_never_stops_about_a_megabyte_is_kept(pair: Pair) -> None:
    assert await pair.arrivals.next(0.01) == b""
    sent = 0
    with anyio.fail_after(LONG_S):
        while more := pair.fill():
            sent += more
            await anyio.sleep(0.002)
    kept = await pair.arrivals.next(LONG_S)
    assert 1 << 20 < len(kept) < 1 << 21
    received = len(kept)
    while received < sent:
        received += len(await pair.arrivals.next(LONG_S))
    assert received == sent


async def test_bytes_that_were_taken_before_the_event_loop_calls_for_them_are_no_end() -> None:
    """A serial port reads as empty then, where a socket says that it would block."""
    far, near = os.pipe()[::-1]
    os.set_blocking(near, False)

    def take() -> bytes:
        try:
            return os.read(near, 65536)
        except BlockingIOError:
            return b""  # as a serial port does

    arrivals = Arrivals(near, take)
    assert await arrivals.next(0.01) == b""
    taken = []
    asyncio.get_running_loop().call_soon(lambda: taken.append(arrivals.here()))
    os.write(far, b"early")  # the loop sees it in the very turn in which `here` takes it
    await anyio.lowlevel.checkpoint()
    await anyio.lowlevel.checkpoint()
    assert taken == [b"early"]
    os.write(far, b"late")
    assert await arrivals.next(LONG_S) == b"late"
    os.close(far)
    with pytest.raises(OSError, match="the other side has closed it"):
        await arrivals.next(LONG_S)
    arrivals.close()
    os.close(near)


async def test_the_end_of_the_line_comes_after_its_last_bytes(pair: Pair) -> None:
    assert await pair.arrivals.next(0.01) == b""
    pair.far.send(b"last")
    pair.far.shutdown(socket.SHUT_WR)
    await until(lambda: pair.arrivals._failure is not None)
    assert await pair.arrivals.next(LONG_S) == b"last"
    for _ in range(2):
        with pytest.raises(OSError, match="the other side has closed it"):
            await pair.arrivals.next(LONG_S)


async def test_closing_ends_a_wait_and_frees_the_number_of_the_descriptor(pair: Pair) -> None:
    async with anyio.create_task_group() as tasks:

        async def wait() -> None:
            with anyio.fail_after(LONG_S), pytest.raises(OSError, match="closed here"):
                await pair.arrivals.next()

        tasks.start_soon(wait)
        await until(lambda: pair.arrivals._waiter is not None)
        number = pair.near.fileno()
        pair.close()
    again = Pair()  # takes the lowest free number
    assert number in {again.near.fileno(), again.far.fileno()}
    again.far.send(b"anew")
    assert await again.arrivals.next(LONG_S) == b"anew"
    again.close()


async def test_an_event_loop_that_waits_for_no_descriptor_is_helped_by_a_thread(
    pair: Pair, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise NotImplementedError

    monkeypatch.setattr(asyncio.get_running_loop(), "add_reader", refuse)
    pair.far.send(b"there")
    assert await pair.arrivals.next(LONG_S) == b"there"
    assert await pair.arrivals.next(0.01) == b""


async def test_a_line_goes_on_in_another_event_loop(pair: Pair) -> None:
    def elsewhere() -> bytes:
        return asyncio.run(pair.arrivals.next(LONG_S))

    pair.far.send(b"first")
    assert await anyio.to_thread.run_sync(elsewhere) == b"first"
    pair.far.send(b"second")
    assert await pair.arrivals.next(LONG_S) == b"second"
