"""A frame that was wrapped is found and opened again, however it is cut; a changed one is not."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmwright.wire.frame_layout import FrameLayout

LAYOUTS = {
    "a line": FrameLayout(),
    "text with a sum": FrameLayout(mark=b"*", checksum="sum8", ends=b"\r\n"),
    "text with a sum and no mark": FrameLayout(checksum="crc16-arc", ends=b"\r"),
    "stx etx": FrameLayout(
        begins=b"\x02",
        mark=b"\x03",
        checksum="xor8",
        checksum_form="binary",
        checksum_over=("body", "mark"),
        ends=b"",
    ),
    "by length": FrameLayout(
        begins=b"\xa5\x5a",
        length="u16le",
        length_counts=("length", "body", "checksum"),
        checksum="crc16-modbus",
        checksum_form="binary-le",
        checksum_over=("length", "body"),
        ends=b"",
    ),
    "decimal": FrameLayout(begins=b"#", length="u8", checksum="sum8", checksum_form="decimal"),
}
TEXT = st.text("ABC0123. =", min_size=1, max_size=12).map(str.encode)


def bodies(name: str) -> st.SearchStrategy[bytes]:
    return st.binary(min_size=1, max_size=12) if LAYOUTS[name].length else TEXT


@pytest.mark.parametrize("name", LAYOUTS)
@given(data=st.data())
def test_two_frames_in_a_row_come_out_as_they_went_in(name: str, data: st.DataObject) -> None:
    layout = FrameLayout.from_orders(json.loads(json.dumps(LAYOUTS[name].as_orders())))
    assert layout == LAYOUTS[name]
    one, two = data.draw(bodies(name)), data.draw(bodies(name))
    stream = layout.wrap(one) + layout.wrap(two)
    cut = data.draw(st.integers(0, len(stream)))
    early = layout.split(stream[:cut])
    assert (early is not None) == (cut >= len(layout.wrap(one)))
    first = layout.split(stream)
    assert first is not None
    assert layout.open(first[0]) == one
    second = layout.split(first[1])
    assert second is not None
    assert (layout.open(second[0]), second[1]) == (two, b"")


@pytest.mark.parametrize("name", [name for name, layout in LAYOUTS.items() if layout.checksum])
@given(data=st.data())
def test_a_changed_bit_is_found(name: str, data: st.DataObject) -> None:
    layout = LAYOUTS[name]
    body = data.draw(bodies(name))
    frame = bytearray(layout.wrap(body))
    at = data.draw(st.integers(0, 8 * len(frame) - 1))
    frame[at // 8] ^= 1 << at % 8
    found = layout.split(bytes(frame))
    if found is None:
        return
    try:
        opened = layout.open(found[0])
    except ValueError:
        return
    # a small letter in hexadecimal digits is as good; a frame cut short leaves bytes behind
    assert opened == body or found[1]


@given(st.sampled_from(sorted(LAYOUTS)), st.binary(max_size=40))
def test_garbage_is_refused_or_waited_for_and_nothing_worse(name: str, garbage: bytes) -> None:
    layout = LAYOUTS[name]
    for _ in range(50):
        found = layout.split(garbage)
        if found is None:
            return
        frame, rest = found
        cut_off = layout.ends if layout.is_plain else b""
        assert frame + cut_off
        assert frame + cut_off + rest == garbage
        garbage = rest
        try:
            layout.open(frame)
        except ValueError:
            continue
