"""The same bytes give the same replies however they are cut up."""

from collections.abc import Awaitable, Callable
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmwright.model.errors import LinkTimeout
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.frame_layout import FrameLayout
from ohmwright.wire.framing import Framing
from ohmwright.wire.link import Link
from ohmwright.wire.scpi import encode_block

pytestmark = pytest.mark.anyio


class Pieces(Link):
    """A line whose bytes come in given pieces, one each `pace_s`, and then nothing more."""

    name = "instrument"

    def __init__(self, pieces: list[bytes], clock: VirtualClock, pace_s: float = 0.0) -> None:
        self.pieces, self.clock, self.pace_s = list(pieces), clock, pace_s

    async def write(self, data: bytes) -> None:
        pass

    async def read(self, timeout_s: float) -> bytes:
        if not self.pieces or self.pace_s > timeout_s:
            self.clock.advance(timeout_s)
            raise LinkTimeout("nothing came")
        self.clock.advance(self.pace_s)
        return self.pieces.pop(0)

    async def aclose(self) -> None:
        pass


class Dribble(Pieces):
    """A line that has a byte each `pace_s`, for ever."""

    async def read(self, timeout_s: float) -> bytes:
        self.clock.advance(self.pace_s)
        return b"x"


def framing(pieces: list[bytes], pace_s: float = 0.0) -> Framing:
    clock = VirtualClock()
    return Framing(Pieces(pieces, clock, pace_s), FrameLayout(), 1.0, clock)


def bytewise(stream: bytes) -> list[bytes]:
    return [bytes([byte]) for byte in stream]


def whole(stream: bytes) -> list[bytes]:
    return [stream]


@pytest.mark.parametrize("cut", [whole, bytewise])
async def test_lines(cut: Callable[[bytes], list[bytes]]) -> None:
    replies = framing(cut(b"first\n\nthird\nrest"))
    assert [await replies.reply() for _ in range(3)] == [b"first", b"", b"third"]
    with pytest.raises(LinkTimeout) as caught:
        await replies.reply()
    assert caught.value.received == b"rest"


async def test_what_is_to_come_alone_is_refused_with_more_behind_it() -> None:
    assert await framing([b"first\n"]).reply(alone=True) == b"first"
    with pytest.raises(ValueError, match="followed it"):
        await framing([b"first\nnext\n"]).reply(alone=True)
    assert await framing([b"#13abc\n"]).block(alone=True) == b"#13abc"
    with pytest.raises(
        ValueError, match="followed it; if each reply ends so, it belongs to the end"
    ):
        await framing([b"first\n\r"]).reply(alone=True)
    with pytest.raises(ValueError, match=r"followed it$"):
        await framing([b"#13abc\nnext\n"]).block(alone=True)


@pytest.mark.parametrize("cut", [whole, bytewise])
async def test_blocks_may_hold_line_ends(cut: Callable[[bytes], list[bytes]]) -> None:
    replies = framing(cut(b"#15\n\n#9\n\n#13abc\nnext\n"))
    assert [await replies.block() for _ in range(2)] == [b"#15\n\n#9\n", b"#13abc"]
    assert await replies.reply() == b"next"


@given(pieces=st.lists(st.binary(min_size=1, max_size=6), max_size=12))
async def test_garbage_is_a_line_a_block_a_timeout_or_nonsense(pieces: list[bytes]) -> None:
    takes: list[Callable[[], Awaitable[bytes]]] = [framing(pieces).reply, framing(pieces).block]
    for take in takes:
        try:
            assert isinstance(await take(), bytes)
        except (LinkTimeout, ValueError):
            continue


@given(data=st.binary(max_size=40), cuts=st.lists(st.integers(0, 45), max_size=6))
async def test_a_block_cut_anywhere_is_the_same(data: bytes, cuts: list[int]) -> None:
    stream = encode_block(data) + b"\n"
    places = [0, *sorted(cut for cut in cuts if cut < len(stream)), len(stream)]
    pieces = [stream[a:b] for a, b in pairwise(places) if a < b]
    replies = framing(pieces)
    assert await replies.block() == stream[:-1]
    assert replies.left == b""


async def test_a_line_that_dribbles_for_ever_times_out() -> None:
    clock = VirtualClock()
    with pytest.raises(LinkTimeout, match="only b'xxxx'"):
        await Framing(Dribble([], clock, pace_s=0.3), FrameLayout(), 1.0, clock).reply()


async def test_a_block_may_take_long_while_it_comes() -> None:
    block = encode_block(b"x" * 50)
    assert await framing(bytewise(block + b"\n"), pace_s=0.3).block() == block


async def test_a_block_followed_by_something_else() -> None:
    with pytest.raises(ValueError, match="followed by"):
        await framing([b"#11xy\n"]).block()


async def test_draining_ends_though_the_line_never_does() -> None:
    babble = framing([b"x"] * 100_000)
    await babble.drain()
    assert babble.left == b""


@pytest.mark.parametrize(
    ("received", "hint"),
    [
        (b"", "Check power"),
        (b"0.3512\r", "ended in \\r"),
        (b"\xfe\x80\x00\xf8", "baud rate"),
        (b"0.35", "right instrument"),
    ],
)
async def test_a_timeout_shows_what_came_and_what_to_try(received: bytes, hint: str) -> None:
    replies = framing([received] if received else [])
    await replies.send(b"FETC:CURR?\n")
    with pytest.raises(LinkTimeout) as caught:
        await replies.reply()
    assert caught.value.received == received
    assert hint in str(caught.value)
    assert "FETC:CURR?" in str(caught.value)
    assert (repr(received) if received else "nothing came") in str(caught.value)


async def test_the_trace_joins_the_pieces_of_a_reply_and_forgets_old_ones() -> None:
    replies = framing(bytewise(b"one\n" * 60))
    for _ in range(60):
        await replies.send(b"Q?\n")
        await replies.reply()
    assert len(replies.trace) == 50
    assert {entry[1:] for entry in replies.trace} == {(">", b"Q?\n"), ("<", b"one\n")}
