"""What a person is told to check, from the bytes that came."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from ohmwright.wire.frame_layout import FrameLayout
from ohmwright.wire.hints import hint

TEXT = FrameLayout(ends=b"\r\n")
FRAMES = FrameLayout(
    begins=b"\xa5",
    length="u8",
    checksum="crc16-modbus",
    checksum_form="binary-le",
    checksum_over=("length", "body"),
    ends=b"",
)
BY_LENGTH = FrameLayout(length="u16", checksum="crc8-smbus", checksum_form="binary", ends=b"")
BODIES = (b"\x81TAMSIN40 0001234", b"\xa2\x00\x00\x00", b"\xb0\x00\x00\x01\x02\x0f\x2e")


def at_another_rate(sent: bytes, ratio: float) -> bytes:
    """What a receiver makes of `sent` that takes a bit for `ratio` of its time."""
    line = [bit for byte in sent for bit in (0, *(byte >> n & 1 for n in range(8)), 1)]

    def level(at: float) -> int:
        return line[int(at)] if at < len(line) else 1

    def bytes_seen() -> Iterator[int]:
        at = 0.0
        while at < len(line):
            if level(at):
                at += ratio / 16
                continue
            yield sum(level(at + ratio * (1.5 + n)) << n for n in range(8))
            at += ratio * 9.5

    return bytes(bytes_seen())


def test_a_line_at_its_own_rate_is_read_as_it_was_sent() -> None:
    assert at_another_rate(b"\xa5\x00\xff\x5a", 1.0) == b"\xa5\x00\xff\x5a"


@pytest.mark.parametrize("layout", [FRAMES, BY_LENGTH])
@pytest.mark.parametrize("ratio", [0.25, 0.5, 2.0, 4.0])
def test_a_wrong_baud_rate_of_binary_frames_is_thought_of(
    layout: FrameLayout, ratio: float
) -> None:
    for body in BODIES:
        seen = at_another_rate(layout.wrap(body), ratio)
        assert "check the baud rate and the serial format" in hint(seen, layout), seen


@pytest.mark.parametrize("layout", [FRAMES, BY_LENGTH])
def test_a_frame_that_came_whole_speaks_for_the_rate(layout: FrameLayout) -> None:
    for body in BODIES:
        said = hint(layout.wrap(body), layout)
        assert "baud" not in said, "most of its bytes are no text, and none needs to be"
        assert "right instrument" in said


def test_text() -> None:
    assert "baud rate" in hint(b"\xfe\x80\xf8\x00\xe6", TEXT)
    assert "ended in \\r" in hint(b"412\r", TEXT)
    assert "terminator" in hint(b"412\n", TEXT)
    assert "ended in" not in hint(b"TRIP\n\r", FrameLayout(ends=b"\n\r")), "it is as was said"
    assert "Check power" in hint(b"", TEXT)
    assert "Check power" in hint(b"", FRAMES)


MARKED = FrameLayout(begins=b"{", mark=b"x:", checksum="xor8", checksum_form="decimal", ends=b"}")
UNMARKED = FrameLayout(checksum="sum8", checksum_form="decimal", ends=b"\r\n")


@pytest.mark.parametrize(
    ("layout", "came", "said"),
    [
        (MARKED, b"{mode:PURE|x:87}", "Its checksum has 2 digits, 3 expected"),
        (UNMARKED, b"OPEN 87\r\n", "Its checksum has 2 digits, 3 expected"),
        (MARKED, b"{mode:PURE|x:087}", "Check that this is the right instrument"),
        (UNMARKED, b"OPEN 1287\r\n", "Check that this is the right instrument"),
    ],
)
def test_a_checksum_of_too_few_digits_is_told(layout: FrameLayout, came: bytes, said: str) -> None:
    assert hint(came, layout).startswith(said)


def test_a_whole_frame_with_too_few_digits_is_refused_by_their_number() -> None:
    with pytest.raises(ValueError, match="its checksum has 2 digits, 3 expected"):
        UNMARKED.open(b"OPEN 87\r\n")
