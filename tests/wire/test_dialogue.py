"""A dialogue never believes an answer to another question (rule 3)."""

from collections.abc import Callable
from typing import Any

import pytest

from ohmwright.model.errors import InstrumentRefused, LinkLost, LinkTimeout, ProtocolError
from ohmwright.wire.dialogue import LinkState, checked_transition
from ohmwright.wire.off import NOTHING_TELLS, OffAnswer, OffTeller

pytestmark = pytest.mark.anyio


def once(spoil: Callable[[bytes], bytes]) -> Callable[[bytes], bytes]:
    """Spoils the first reply that is not empty."""
    left = [spoil]

    def spoil_first(reply: bytes) -> bytes:
        return left.pop()(reply) if reply and left else reply

    return spoil_first


async def in_step(table: Any) -> Any:
    await table.dialogue.resynchronise()
    table.link.written.clear()
    return table.dialogue


async def test_questions_of_every_kind(table: Any) -> None:
    dialogue = table.dialogue
    assert await dialogue.ask("identify") == "Maker,Model,1,0"
    assert await dialogue.ask_number("load") == 300
    assert await dialogue.ask_reading("fetch_current") == (pytest.approx(351.2), 1)
    assert await dialogue.ask_block("fetch_waveform") == b"\n\n\n\n"
    assert dialogue.generation == 1
    assert dialogue.state is LinkState.SYNCED


async def test_a_new_line_is_suspect_and_its_old_bytes_are_not_believed(table: Any) -> None:
    await table.link.write(b"OUTPut:STATe?\n")
    assert table.dialogue.state is LinkState.SUSPECT
    assert await table.dialogue.ask("identify") == "Maker,Model,1,0"


async def test_telling_reads_the_error_queue(table: Any) -> None:
    dialogue = await in_step(table)
    await dialogue.tell("set_load", load_ohm=200)
    assert table.instrument.load_ohm == 200
    with pytest.raises(
        InstrumentRefused, match=r"INPut:IMPedance 5000.*Data out of range"
    ) as caught:
        await dialogue.tell("set_load", load_ohm=5000)
    assert caught.value.code == -222
    assert table.instrument.load_ohm == 200
    assert await dialogue.ask_number("load") == 200


async def test_an_error_from_before_is_no_refusal_of_the_first_command(table: Any) -> None:
    for _ in range(2):
        await table.link.write(b"NONSense\n")
    await table.dialogue.tell("set_load", load_ohm=200)
    assert table.instrument.load_ohm == 200


async def test_a_second_entry_for_one_refusal_does_not_refuse_the_next(table: Any) -> None:
    dialogue = await in_step(table)
    await dialogue.tell("set_load", load_ohm=200)
    await table.link.write(b"NONSense\n")
    with pytest.raises(InstrumentRefused):
        await dialogue.tell("set_load", load_ohm=5000)
    await dialogue.tell("set_load", load_ohm=100)
    assert table.instrument.load_ohm == 100


async def test_an_empty_line_before_off_refuses_no_later_command(table: Any) -> None:
    """As from an instrument that calls the end of an unfinished message an unknown command."""
    dialogue = await in_step(table)
    await dialogue.tell("set_load", load_ohm=200)
    dialogue.state = LinkState.SUSPECT
    await OffTeller(dialogue).tell("off")
    await table.link.write(b"NONSense\n")
    await dialogue.tell("set_load", load_ohm=100)
    assert table.instrument.load_ohm == 100


async def test_the_late_answer_of_a_timed_out_question_is_never_the_next_ones(table: Any) -> None:
    dialogue = await in_step(table)
    table.link.delay_s = 1.4  # beyond the timeout of a second
    with pytest.raises((LinkTimeout, ProtocolError)):
        await dialogue.ask("identify")
    table.link.delay_s = 0.0
    assert dialogue.state is LinkState.SUSPECT
    assert await dialogue.ask_number("load") == 300
    assert await dialogue.ask_reading("fetch_current") == (pytest.approx(351.2), 1)


@pytest.mark.parametrize("delay_s", [0.05, 0.3, 0.7, 0.95])
async def test_a_slow_instrument_is_waited_for(table: Any, delay_s: float) -> None:
    table.link.delay_s = delay_s
    assert await table.dialogue.ask_number("load") == 300
    assert table.dialogue.generation == 1


async def test_a_heap_of_old_replies_is_drained(table: Any) -> None:
    for _ in range(500):
        await table.link.write(b"OUTPut:STATe?\n")
    assert await table.dialogue.ask_number("load") == 300
    assert table.dialogue.generation == 1


SPOILED = {
    "lost": lambda _reply: b"",
    "cut short": lambda reply: reply[:3],
    "without its end": lambda reply: reply[:-1],
    "garbled": lambda _reply: b"\xfe\x80" * 4 + b"\n",
    "repeated": lambda reply: reply * 2,
    "preceded": lambda reply: b"0\n" + reply,
    "of another question": lambda _reply: b"Maker,Model,1,0\n",
    "in another unit": lambda _reply: b"+3.51200E+02,mA,00001\n",
}


@pytest.mark.parametrize("spoil", SPOILED.values(), ids=SPOILED)
async def test_a_spoiled_answer_is_asked_for_again(
    table: Any, spoil: Callable[[bytes], bytes]
) -> None:
    dialogue = await in_step(table)
    table.link.spoil = once(spoil)
    value, _ = await dialogue.ask_reading("fetch_current")
    assert value == pytest.approx(351.2)
    assert dialogue.generation == 2
    assert await dialogue.ask_number("load") == 300


@pytest.mark.parametrize("spoil", SPOILED.values(), ids=SPOILED)
async def test_one_that_stays_spoiled_is_an_error(
    table: Any, spoil: Callable[[bytes], bytes]
) -> None:
    dialogue = await in_step(table)
    echo = table.instrument.dispatcher.handle
    table.link.handle = lambda line: spoil(echo(line)) if b"FETC" in line else echo(line)
    with pytest.raises((LinkTimeout, ProtocolError), match="FETCh:CURRent"):
        await dialogue.ask_reading("fetch_current")
    assert dialogue.state is LinkState.SUSPECT
    assert sum(b"FETC" in message for message in table.link.written) == 2


async def test_a_reply_in_another_unit_says_so(table: Any) -> None:
    table.link.spoil = lambda reply: reply.replace(b",A,", b",mA,")
    with pytest.raises(ProtocolError, match=r"it should be .*current_a"):
        await table.dialogue.ask_reading("fetch_current")


async def test_on_is_sent_once_whatever_happens(table: Any) -> None:
    dialogue = await in_step(table)
    await dialogue.tell("set_load", load_ohm=200)  # which finds no old error
    table.link.spoil = lambda _reply: b""
    with pytest.raises(LinkTimeout):
        await dialogue.tell("on", limit_s=5)
    assert sum(b"STATe ON" in message for message in table.link.written) == 1


async def test_reading_the_error_queue_is_not_repeated(table: Any) -> None:
    dialogue = await in_step(table)
    table.link.spoil = once(lambda _reply: b"")
    with pytest.raises(LinkTimeout):
        await dialogue.tell("set_load", load_ohm=5000)
    assert sum(b"ERRor?" in message for message in table.link.written) == 1


async def test_off_comes_before_anything_else(table: Any) -> None:
    dialogue = await in_step(table)
    await dialogue.tell("on", limit_s=5)
    table.link.delay_s = 1.4
    with pytest.raises((LinkTimeout, ProtocolError)):
        await dialogue.ask("identify")
    table.link.written.clear()
    await OffTeller(dialogue).tell("off")
    assert table.link.written == [b"\nOUTPut:STATe OFF\n"]
    assert not table.instrument.on
    assert dialogue.state is LinkState.SUSPECT


async def test_off_in_step_keeps_step(table: Any) -> None:
    dialogue = await in_step(table)
    await OffTeller(dialogue).tell("off")
    assert await dialogue.ask_number("state") == 0
    assert table.link.written == [b"OUTPut:STATe OFF\n", b"OUTPut:STATe?\n"]


async def test_the_answer_to_an_earlier_off_is_not_told_as_that_to_the_next(table: Any) -> None:
    """Would notice an old "taken", or an old refusal, kept where no answer is awaited."""
    dialogue = await in_step(table)
    teller = OffTeller(dialogue)
    for earlier in (OffAnswer(taken=True, said=""), OffAnswer(taken=False, said="no")):
        teller.answer = earlier
        dialogue.state = LinkState.SUSPECT
        await teller.tell("off")
        assert teller.answer == NOTHING_TELLS


async def test_off_ends_a_message_left_unfinished(table: Any) -> None:
    dialogue = await in_step(table)
    table.instrument.on = True
    await table.link.write(b"INPut:IMPed")
    dialogue.state = LinkState.SUSPECT
    await OffTeller(dialogue).tell("off")
    assert not table.instrument.on


async def test_a_lost_line_stays_lost_and_still_off_is_tried(table: Any) -> None:
    dialogue = await in_step(table)
    table.link.unplugged = True
    with pytest.raises(LinkLost):
        await dialogue.ask("identify")
    assert dialogue.state is LinkState.LOST
    table.link.unplugged = False
    for ask in (dialogue.ask("identify"), dialogue.tell("on", limit_s=5), dialogue.resynchronise()):
        with pytest.raises(LinkLost, match="is lost"):
            await ask
    table.instrument.on = True
    await OffTeller(dialogue).tell("off")
    assert not table.instrument.on
    assert dialogue.state is LinkState.LOST


async def test_step_is_found_past_what_a_late_answer_may_look_like(table: Any) -> None:
    """Replies that happen to be whole numbers come just when a nonce is awaited."""
    dialogue = await in_step(table)
    echo = table.instrument.dispatcher.handle

    def with_a_stale_number(line: bytes) -> bytes:
        reply = echo(line)
        return b"1\n" + reply if b"*ESE" in line else reply

    table.link.handle = with_a_stale_number
    await dialogue.resynchronise()
    table.link.handle = echo
    assert await dialogue.ask_number("load") == 300


async def test_a_stale_nonce_does_not_put_the_line_out_of_step(table: Any) -> None:
    """A late echo that equals the first nonce by chance is found out by the second."""
    dialogue, echo = table.dialogue, table.instrument.dispatcher.handle
    doubled = once(lambda reply: reply * 2)
    table.link.handle = lambda line: doubled(echo(line))
    assert await dialogue.ask("identify") == "Maker,Model,1,0"
    assert await dialogue.ask_number("load") == 300


async def test_an_instrument_that_never_gets_into_step(table: Any) -> None:
    table.link.handle = lambda _line: b"babble\n" * 3
    with pytest.raises(ProtocolError, match=r"b'babble babble.*echoed"):
        await table.dialogue.ask("identify")
    table.link.handle = lambda _line: b""
    with pytest.raises(LinkTimeout, match="nothing came"):
        await table.dialogue.ask("identify")
    assert table.dialogue.generation == 0


async def test_an_instrument_that_answers_too_late_is_told_by_its_late_echo(table: Any) -> None:
    table.link.delay_s = 1.9  # beyond the timeout of a second
    with pytest.raises((LinkTimeout, ProtocolError), match="may take longer than 'timeout_s'"):
        await table.dialogue.ask("identify")


async def test_replies_that_end_in_another_way_are_shown(table: Any) -> None:
    table.link.spoil = lambda reply: reply.replace(b"\n", b"\r")
    with pytest.raises((LinkTimeout, ProtocolError), match="ended in"):
        await table.dialogue.ask("identify")


async def test_two_tasks_on_one_dialogue_are_found_out(table: Any) -> None:
    dialogue = await in_step(table)
    first = dialogue.ask("identify")
    first.send(None)  # up to its first pause
    with pytest.raises(RuntimeError, match="two tasks"):
        await dialogue.ask("load")
    first.close()
    assert await dialogue.ask_number("load") == 300


def test_a_lost_line_may_not_come_back() -> None:
    assert checked_transition(LinkState.SUSPECT, LinkState.SYNCED) is LinkState.SYNCED
    with pytest.raises(RuntimeError, match="lost cannot become synced"):
        checked_transition(LinkState.LOST, LinkState.SYNCED)
