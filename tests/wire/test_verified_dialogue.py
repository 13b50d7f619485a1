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


async def read_of(table: Any, *currents_a: float, repeats: int = 1) -> tuple[float, int | None]:
    """A reading of a meter that shows each of these at so many questions, with its number."""
    shown = [(current_a, n) for n, current_a in enumerate(currents_a) for _ in range(repeats)]
    answering(table, b"FETCh:CURRent?\n", *[b"%+.5E,A,%05d\n" % each for each in shown])
    return await VerifiedDialogue(table.dialogue).reading("fetch_current")


async def test_a_reading_that_stays_for_two_questions_is_believed(table: Any) -> None:
    assert await read_of(table, 0.3, 0.4, repeats=2) == (pytest.approx(300), 0)


@pytest.mark.parametrize(
    "rise", [lambda n: 0.3 + 0.0001 * n, lambda n: 0.3 * 1.02**n, lambda n: 0.1 * max(0, n - 4)]
)
async def test_a_reading_is_believed_that_goes_on_though_each_question_meets_a_new_one(
    table: Any, rise: Callable[[int], float]
) -> None:
    """As on a busy computer, over a slow line, or of a quick meter; steady, rising, just begun."""
    current_ma, number = await read_of(table, *[rise(n) for n in range(20)])
    assert number in (4, 6)
    assert current_ma == pytest.approx(1000 * rise(number), rel=1e-4)


@pytest.mark.parametrize("changed", [4, 5])
async def test_of_readings_that_are_always_new_one_with_a_changed_digit_is_not_believed(
    table: Any, changed: int
) -> None:
    shown = [0.3 + 0.0005 * n for n in range(20)]
    shown[changed] += 0.04
    current_ma, number = await read_of(table, *shown)
    assert current_ma == pytest.approx(300 + 0.5 * (number or 0))


async def test_readings_that_leap_are_none(table: Any) -> None:
    with pytest.raises(ProtocolError, match="another answer each time to 'fetch_current'"):
        await read_of(table, *[0.3 * 3.5**n for n in range(20)])


async def test_readings_that_run_back_are_not_one_after_the_other(table: Any) -> None:
    shown = [b"+3.00000E-01,A,%05d\n" % number for number in range(20, 0, -1)]
    answering(table, b"FETCh:CURRent?\n", *shown)
    with pytest.raises(ProtocolError, match="another answer each time"):
        await VerifiedDialogue(table.dialogue).reading("fetch_current")


async def test_another_figure_under_the_same_number_is_no_new_reading(table: Any) -> None:
    """Would notice a changed digit believed of a reading that has been answered before."""
    shown = [b"+%.5E,A,00007\n" % (0.3 + 0.0005 * n) for n in range(20)]
    answering(table, b"FETCh:CURRent?\n", *shown)
    with pytest.raises(ProtocolError, match="another answer each time"):
        await VerifiedDialogue(table.dialogue).reading("fetch_current")


async def test_after_each_setting_the_instrument_is_named(table: Any) -> None:
    assured = VerifiedDialogue(table.dialogue)
    await assured.identify()
    table.link.written.clear()
    await assured.set_number("set_load", "load", 200, load_ohm=200)
    assert table.link.written[-1] == b"*IDN?\n"
    assert table.link.written[1] == b"INPut:IMPedance 200\n", "after a look for old errors"


async def test_a_setting_taken_by_another_instrument_is_not_made(table: Any) -> None:
    assured = VerifiedDialogue(table.dialogue)
    await assured.identify()
    answering(table, b"*IDN?\n", b"Maker,Model,2,0\n")
    with pytest.raises(ProtocolError, match="is now 'Maker,Model,2,0', not 'Maker,Model,1,0'"):
        await assured.set_number("set_load", "load", 200, load_ohm=200)


async def test_one_damaged_answer_is_no_setting_that_somebody_changed(table: Any) -> None:
    assured = VerifiedDialogue(table.dialogue)
    await assured.set_number("set_load", "load", 200, load_ohm=200)
    answering(table, b"INPut:IMPedance?\n", b"100\n", b"200\n")
    assert await assured.other_number("load", 200) is None
    answering(table, b"INPut:IMPedance?\n", b"100\n")
    assert await assured.other_number("load", 200) == "100"


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


async def test_a_refusal_by_no_error_is_a_damaged_reply(table: Any) -> None:
    """A digit that was changed on the line: nothing was refused, and the setting reads back."""
    answering(table, b"SYSTem:ERRor?\n", b'9,"No error"\n', b'0,"No error"\n')
    await VerifiedDialogue(table.dialogue).set_number("set_load", "load", 500.0, load_ohm=500.0)
    answering(table, b"SYSTem:ERRor?\n", b'9,"No error"\n')
    with pytest.raises(ProtocolError, match="that is no error, and its number is 9, not 0"):
        await table.dialogue.tell("off")
