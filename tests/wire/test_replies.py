"""A measured reply is taken whole, in the unit asked for, or not at all."""

from math import inf, isnan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmwright.wire.replies import reply_parser

parse = reply_parser(("value", "unit", "number"), "A")


def test_value_and_number() -> None:
    assert parse(b"+3.51200E-01,A,00123") == (0.3512, 123)
    assert parse(b" 0.3512 , A , 123\r") == (0.3512, 123)
    assert parse(b"9.9E37,A,1") == (inf, 1)


def test_no_reading_available() -> None:
    value, number = parse(b"9.91E37,A,00000")
    assert isnan(value)
    assert number == 0


def test_other_orders() -> None:
    assert reply_parser(("number", "value"), "mA")(b"7,351.2") == (351.2, 7)
    assert reply_parser(("value",), "mA")(b"351.2") == (351.2, None)


@pytest.mark.parametrize(
    "reply",
    [
        b"",
        b"0.3",
        b"0.3,A",
        b"0.3,A,1,1",
        b"0.3,mA,1",
        b"0.3,A,1.0",
        b"A,0.3,1",
        b"x.3,A,1",
        b"nan,A,1",
        b"+3.51200E-01,A,00123+3.51200E-01,A,00124",
        b"0.3,A,1_0",
        b"0.\xff,A,1",
    ],
)
def test_anything_else_is_refused(reply: bytes) -> None:
    with pytest.raises(ValueError):
        parse(reply)


@given(st.binary(max_size=40))
def test_garbage_is_refused_and_nothing_worse(reply: bytes) -> None:
    try:
        value, number = parse(reply)
    except ValueError:
        return
    assert isinstance(value, float)
    assert isinstance(number, int)
