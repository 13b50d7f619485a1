"""Text of SCPI: what is read back is what was written, and nothing else is read at all."""

from math import inf, isnan, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmwright.wire.scpi import (
    block_length,
    decode_block,
    encode_block,
    format_number,
    parse_integer,
    parse_number,
    quote,
    unquote,
)


@pytest.mark.parametrize("text", ["nan", "inf", "1_0", "", "1,2", "0x10", "1e", "٣", "+-1", "A"])
def test_what_is_no_number(text: str) -> None:
    with pytest.raises(ValueError, match="number"):
        parse_number(text)
    with pytest.raises(ValueError, match="number"):
        parse_integer(text)


def test_a_whole_number_has_no_point() -> None:
    assert parse_integer(" +00123 ") == 123
    with pytest.raises(ValueError, match="whole"):
        parse_integer("1.0")


@given(st.floats(min_value=-9.8e37, max_value=9.8e37))
def test_numbers_come_back_to_six_digits(number: float) -> None:
    assert parse_number(format_number(number)) == pytest.approx(number, rel=5.1e-6)


@pytest.mark.parametrize("number", [inf, -inf])
def test_infinities_come_back(number: float) -> None:
    assert parse_number(format_number(number)) == number


def test_no_reading_comes_back_as_none() -> None:
    assert isnan(parse_number(format_number(nan)))


@given(st.text())
def test_quoted_text_comes_back(text: str) -> None:
    assert unquote(quote(text)) == text


@given(st.binary(max_size=300), st.binary(max_size=5))
def test_blocks_come_back_whole_in_pieces_and_with_more_behind(data: bytes, more: bytes) -> None:
    block = encode_block(data)
    assert decode_block(block) == data
    lengths = {block_length(block[:end]) for end in range(len(block) + 1)}
    assert lengths == {None, len(block)}
    assert block_length(block + more) == len(block)


@pytest.mark.parametrize("block", [b"x", b"#0", b"#a5hello", b"#2 5hello", b"#21_"])
def test_what_begins_no_block(block: bytes) -> None:
    with pytest.raises(ValueError, match="begins no"):
        block_length(block)


@pytest.mark.parametrize("block", [b"", b"#1", b"#15hell", b"#15hello!"])
def test_blocks_that_are_not_whole(block: bytes) -> None:
    with pytest.raises(ValueError, match="bytes long"):
        decode_block(block)
