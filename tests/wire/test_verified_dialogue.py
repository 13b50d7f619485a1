"""No single reply is believed, no setting without the instrument's name, no name without digits."""

from collections.abc import Callable
from typing import Any

import pytest

from ohmwright.model.errors import ProtocolError
from ohmwright.wire.verified_dialogue import VerifiedDialogue

pytestmark = pytest.mark.anyio


def answering(table: Any, message: bytes, *replies: bytes) -> None:
    """Have `message` answered with `replies` in turn, and with the last one from then on."""
    handle, left = table.link.handle, list(replies)

    def answer(line: bytes) -> bytes:
        if line != message:
            return handle(line)
        return left.pop(0) if len(left) > 1 else left[0]

    table.link.handle = answer


async def test_one_answer_is_not_enough(table: Any) -> None:
    """A single reply that says 0 must not make an output that is on read off."""
    answering(table, b"OUTPut:STATe?\n", b"0\n", b"1\n", b"1\n")
    assert await VerifiedDialogue(table.dialogue).number("state") == 1


async def test_answers_that_never_agree_are_none(table: Any) -> None:
    answering(table, b"OUTPut:STATe?\n", *[b"0\n", b"1\n"] * 4)
    with pytest.raises(ProtocolError, match="another answer each time"):
        await VerifiedDialogue(table.dialogue).number("state")


async def test_a_busy_computer_that_meets_a_new_reading_at_each_question_has_the_first_that_stays(
    table: Any,
) -> None:
    moving = [b"+3.51200E-01,A,%05d\n" % number for number in range(8)]
    answering(table, b"FETCh:CURRent?\n", *moving)
    assert (await VerifiedDialogue(table.dialogue).reading("fetch_current"))[1] == 7


async def test_after_each_setting_the_instrument_is_named(table: Any) -> None:
    assured = VerifiedDialogue(table.dialogue)
    await assured.identify()
    table.link.written.clear()
    await assured.set_number("set_load", "load", 200, load_ohm=200)
    assert table.link.written[-1] == b"*IDN?\n"
    assert b"INPut:IMPedance 200\n" in table.link.written[0]


async def test_a_setting_taken_by_another_instrument_is_not_made(table: Any) -> None:
    assured = VerifiedDialogue(table.dialogue)
    await assured.identify()
    answering(table, b"*IDN?\n", b"Maker,Model,2,0\n")
    with pytest.raises(ProtocolError, match="is now 'Maker,Model,2,0', not 'Maker,Model,1,0'"):
        await assured.set_number("set_load", "load", 200, load_ohm=200)


def digits_go_bad(table: Any, begin: Callable[[bytes], bool]) -> None:
    """A bit of every digit is lost from the message on for which `begin` is true: 2 reads 0."""
    handle, bad = table.link.handle, False
    lost = bytes.maketrans(b"2367", b"0145")

    def answer(line: bytes) -> bytes:
        nonlocal bad
        bad = bad or begin(line)
        return handle(line).translate(lost) if bad else handle(line)

    table.link.handle = answer


async def test_a_name_is_believed_only_over_a_line_that_carries_every_digit(table: Any) -> None:
    """The digits of the name itself, 1 and 0, lack that bit, so it comes through unharmed."""
    assured = VerifiedDialogue(table.dialogue)
    await assured.identify()
    digits_go_bad(table, lambda _: True)
    with pytest.raises(ProtocolError):
        await assured.identify()


async def test_a_line_that_goes_bad_while_the_first_name_is_asked_gives_none(table: Any) -> None:
    digits_go_bad(table, lambda line: line == b"*IDN?\n")
    with pytest.raises(ProtocolError):
        await VerifiedDialogue(table.dialogue).identify()
