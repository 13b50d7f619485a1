"""What every line does, whatever carries its bytes."""

import asyncio
from contextlib import suppress
from typing import Any

import anyio
import pytest

from ohmwright.model.errors import LinkBusy, LinkLost, LinkTimeout
from ohmwright.wire.link import Link
from ohmwright.wire.links.memory import MemoryLink

pytestmark = pytest.mark.anyio
LONG_S = 5.0


async def read_until(link: Link, end: bytes) -> bytes:
    came = b""
    while not came.endswith(end):
        came += await link.read(LONG_S)
    return came


async def read_for(patience_s: float, link: Link) -> bytes:
    """What a read brings that is cancelled after so long; in memory it does not wait at all."""
    with anyio.move_on_after(patience_s), suppress(LinkTimeout):
        return await link.read(LONG_S)
    return b""


async def speak_until_lost(link: Link) -> None:
    for _ in range(100):
        with suppress(LinkTimeout):
            await link.read(LONG_S)
        await link.write(b"x\n")


async def test_bytes_arrive_as_they_are(line: Any) -> None:
    await line.link.write(b"FETC:CURR?\n")
    assert await line.far.hear(11) == b"FETC:CURR?\n"
    await line.far.say(b"#15\n\r\x00\xff\x11\n")
    assert await read_until(line.link, b"\x11\n") == b"#15\n\r\x00\xff\x11\n"


async def test_replies_come_in_order(line: Any) -> None:
    await line.far.say(b"first\n")
    await line.far.say(b"second\n")
    assert await read_until(line.link, b"second\n") == b"first\nsecond\n"


async def test_silence_is_a_timeout_and_the_line_lives_on(line: Any) -> None:
    for _ in range(2):
        with pytest.raises(LinkTimeout, match=r"0\.06 s"):
            await line.link.read(0.06)
    await line.far.say(b"hello\n")
    assert await read_until(line.link, b"\n") == b"hello\n"


async def test_half_a_reply_before_a_timeout_is_kept_or_returned(line: Any) -> None:
    await line.link.write(b"x\n")
    await line.far.hear(2)
    await line.far.say(b"hel")
    came = await line.link.read(LONG_S)
    while len(came) < 3:
        came += await line.link.read(LONG_S)
    with pytest.raises(LinkTimeout):
        await line.link.read(0.06)
    await line.far.say(b"lo\n")
    assert came + await read_until(line.link, b"\n") == b"hello\n"


async def test_a_cancelled_read_loses_no_byte(line: Any) -> None:
    came = b""
    for text in (b"hello\n", b"first\n", b"second\n") * 4:
        came += await read_for(0.001, line.link)
        await line.far.say(text)
        came += await read_for(0.0005, line.link)
    sent = b"hello\nfirst\nsecond\n" * 4
    while len(came) < len(sent):
        came += await line.link.read(LONG_S)
    assert came == sent


async def test_a_read_cancelled_from_outside_loses_no_byte(line: Any) -> None:
    """asyncio's own cancellation, which a shield of anyio's does not stop."""
    reading = asyncio.create_task(line.link.read(LONG_S))
    await anyio.lowlevel.checkpoint()
    await anyio.lowlevel.checkpoint()
    await line.far.say(b"hello\n")
    reading.cancel()
    came = b"".join(
        part
        for part in await asyncio.gather(reading, return_exceptions=True)
        if isinstance(part, bytes)
    )
    while len(came) < 6:
        came += await line.link.read(LONG_S)
    assert came == b"hello\n"


async def test_closed_it_says_so_and_may_be_closed_again(line: Any) -> None:
    await line.link.aclose()
    await line.link.aclose()
    with pytest.raises(LinkLost):
        await line.link.read(LONG_S)
    with pytest.raises(LinkLost):
        await line.link.write(b"FETC:CURR?\n")


async def test_what_arrived_before_the_far_end_went_is_read(line: Any) -> None:
    await line.link.write(b"x\n")
    await line.far.hear(2)
    await line.far.say(b"hello\n")
    came = await read_until(line.link, b"\n")
    assert came == b"hello\n"
    line.far.hang_up()
    with pytest.raises(LinkLost, match="gone"):
        await speak_until_lost(line.link)


async def test_a_far_end_that_goes_while_it_is_waited_for(line: Any) -> None:
    await line.link.write(b"x\n")
    await line.far.hear(2)
    if isinstance(line.link, MemoryLink):
        pytest.skip("in memory nothing is noticed before the next message")
    asyncio.get_running_loop().call_soon(line.far.hang_up)
    with pytest.raises(LinkLost):
        await line.link.read(LONG_S)


async def test_a_second_opening_is_refused_by_name_until_the_first_is_closed(line: Any) -> None:
    if line.reopen is None:
        pytest.skip("cannot be opened by name")
    with pytest.raises(LinkBusy, match=r"in use by process \d+ on .* since 20"):
        await line.reopen()
    await line.link.aclose()
    second = await line.reopen()
    await second.aclose()
