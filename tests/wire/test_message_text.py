"""What is written by a message text is read back by it, and nothing else is."""

from collections.abc import Mapping
from math import inf, isclose, isnan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmwright.model.errors import SourceError
from ohmwright.wire.command_set import CommandSet
from ohmwright.wire.exchange import MessageText, ReplyValues, message_text
from ohmwright.wire.field_codec import Codes

CODES: Mapping[str, Codes] = {
    "load_kohm": {"0.3": (b"R3", b"R03"), "0.05": (b"R1",)},
    "state": {"off": (b"O",), "on": (b"C",), "fault": (b"F",)},
}


def made(text: str) -> MessageText:
    return message_text(text, CODES, named_bytes=True, reply=True)


def v1(fields: tuple[str, ...], unit: str, reply: bytes) -> ReplyValues:
    ask = {"resynchronise": "E{nonce}", "fetch_current": "I"}
    given = {"name": "x", "reading": fields, "current_unit": unit, "ask": ask, "tell": {}}
    return CommandSet.model_validate(given).exchange("fetch_current").read(reply)


def test_a_comma_in_what_came_is_no_hint_where_no_number_is_due() -> None:
    """An identification, `A,1,T0042`, in place of an acknowledgement has no decimal comma."""
    tell = {"set_load": "LOAD {load_ohm:.0f}"}
    given = {"format": 2, "name": "x", "answer": "OK", "ask": {"load": "LOAD?"}, "tell": tell}
    exchange = CommandSet.model_validate(given).exchange("set_load")
    with pytest.raises(ValueError, match=r"^it should be 'OK'$"):
        exchange.read(b"A,1,0")


@pytest.mark.parametrize(
    ("text", "values", "sent"),
    [
        ("LOAD {load_kohm:.3f}", {"load_ohm": 50.0}, b"LOAD 0.050"),
        ("<02>{load_ohm:u16}<<", {"load_ohm": 300.0}, b"\x02\x01\x2c<"),
        ("{current_a:f32le}", {"current_ma": 500.0}, b"\0\0\0?"),
        ("{setting_w:04d}W", {"setting_w": 90}, b"0090W"),
        ("{counts:+04d}", {"counts": -7}, b"-007"),
        ("{load_ohm:04X}", {"load_ohm": 300.0}, b"012C"),
        ("{load_ohm:bcd2}", {"load_ohm": 300.0}, b"\x03\x00"),
        ("{current_ma:d*0.1}", {"current_ma": 412.3}, b"4123"),
        ("I {current_a:,} A", {"current_ma": 487.3}, b"I 0,4873 A"),
        ("I {current_a:,*0.001} mA", {"current_ma": 487.25}, b"I 487,25 mA"),
        ("{current_a:8,4f}V", {"current_ma": 487.3}, b"  0,4873V"),
        ("{load_kohm:,3f}", {"load_ohm": 300.0}, b"0,300"),
        ("{load_kohm:code}", {"load_ohm": 300.0}, b"R3"),
        ("{state:code}", {"state": 1.0}, b"C"),
        ("{mode}, {point}", {"mode": "cut", "point": "P 1"}, b"cut, P 1"),
    ],
)
def test_written_and_read_back(text: str, values: dict[str, object], sent: bytes) -> None:
    said = made(text).filled(values)
    assert said == sent
    read = made(text).read(said)
    assert read is not None
    for name, value in values.items():
        assert read[name] == (value if isinstance(value, str) else pytest.approx(value))


@given(
    st.sampled_from(["u16", "u16*0.1", "u32le*0.001", ".4f", ".6g", "d", "08.2f", "bcd4*0.01"]),
    st.integers(1, 6000),
)
def test_every_form_gives_back_what_it_can_carry(form: str, whole: int) -> None:
    text = made(f"I{{current_ma:{form}}}.")
    read = text.read(text.filled({"current_ma": float(whole)}))
    assert read is not None
    assert isclose(float(read["current_ma"]), whole, rel_tol=5e-4)


@pytest.mark.parametrize("form", ["d", ".1f", "u8", "u16*0.1", "d*0.5", "bcd1"])
@given(limit_s=st.floats(0.6, 60))
def test_a_limit_is_never_longer(form: str, limit_s: float) -> None:
    for name, factor in (("limit_s", 1.0), ("limit_ms", 1000.0)):
        if name == "limit_ms" and form in ("u8", "u16*0.1", "bcd1"):
            continue
        codec = made(f"{{{name}:{form}}}").codec("limit_s")
        assert codec is not None
        carried_s = codec.carried_limit(limit_s)
        assert limit_s - 1.001 / (factor if form == "d" else 1) < carried_s <= limit_s * (1 + 1e-9)
        assert codec.decode(codec.sent(limit_s)) == carried_s


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("{load_kohm:.1f}", {"load_ohm": 50.0}),  # 0.1 kilohm are 100 ohm
        ("{load_ohm:u8}", {"load_ohm": 300.0}),
        ("{load_kohm:code}", {"load_ohm": 100.0}),
        ("{setting_w:d}", {"setting_w": 12.5}),
        ("{load_ohm:.0f}", {"load_ohm": inf}),
        ("{mode}", {"mode": "x\r"}),
    ],
)
def test_what_would_be_another_value_is_not_sent(text: str, values: dict[str, object]) -> None:
    with pytest.raises(SourceError, match="cannot be sent"):
        made(text).filled(values)


@pytest.mark.parametrize(
    ("text", "body"),
    [
        ("I={current_ma} MA", b"I=412.3 A"),
        ("I={current_ma} MA", b"I=412.3 MAI=412.3 MA"),
        ("I={current_ma} MA", b"I= MA"),
        ("I={current_ma} MA", b"xI=412.3 MA"),
        ("I={current_ma} MA", b"I=412,3 MA"),
        ("I={current_ma:,} MA", b"I=412.3 MA"),
        ("I={current_ma:6,} MA", b"I=0412.3 MA"),
        ("{current_ma:6} {load_ohm:4}", b"0412.3 300"),
        ("{state:code}", b"X"),
        ("{load_ohm:u16}", b"123"),
        ("A{:2}{state:code}", b"A1C"),
    ],
)
def test_another_form_is_no_value(text: str, body: bytes) -> None:
    assert made(text).read(body) is None


def test_a_reply_of_several_values_with_some_skipped() -> None:
    read = made("{current_ma:6};{};{state:code}{left_s:3d*0.1}").read(b"0412.5;x;y;C119")
    assert read == {"current_ma": 412.5, "state": 1.0, "left_s": pytest.approx(11.9)}


def test_a_fault_is_neither_off_nor_on() -> None:
    with pytest.raises(ValueError, match="fault"):
        made("{state:code}").read(b"F")


def test_readings_of_the_plain_form() -> None:
    fields = ("value", "unit", "number")
    assert v1(fields, "A", b"+3.51200E-01,A,00123") == {"current_ma": 351.2, "number": 123}
    assert isnan(float(v1(fields, "A", b"9.91E37,A,0")["current_ma"]))
    assert v1(("number", "value"), "mA", b"7,351.2") == {"current_ma": 351.2, "number": 7}
    for reply in (
        b"",
        b"0.3,A",
        b"0.3,mA,1",
        b"0.3,A,1.0",
        b"nan,A,1",
        b"0.3,A,1_0",
        b"0.\xff,A,1",
    ):
        with pytest.raises(ValueError, match="should be"):
            v1(fields, "A", reply)


@given(st.sampled_from(["{identity}", "I={current_ma}", "{state:code}{}"]), st.binary(max_size=20))
def test_garbage_is_refused_and_nothing_worse(text: str, body: bytes) -> None:
    try:
        made(text).read(body)
    except ValueError:
        return


def test_a_decimal_comma_is_named_where_none_was_expected() -> None:
    given = {"identify": "ID?", "fetch_current": {"send": "I?", "reply": "I={current_a} A"}}
    commands = CommandSet.model_validate({"name": "x", "format": 2, "ask": given, "tell": {}})
    exchange = commands.exchange("fetch_current")
    with pytest.raises(ValueError, match=r"written \{current_a:,\}"):
        exchange.read(b"I=0,4873 A")
    with pytest.raises(ValueError, match="it should be") as plain:
        exchange.read(b"I=none A")
    assert "comma" not in str(plain.value)


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (b"OUT idle", "it should be 'OUT {state:code}', and 'idle' is not in [codes.state]"),
        (b"OUT \r", "it should be 'OUT {state:code}', and '<CR>' is not in [codes.state]"),
        (b"IN idle", "it should be 'OUT {state:code}'"),
    ],
)
def test_a_word_that_no_code_table_has_is_named(body: bytes, says: str) -> None:
    ask = {"identify": "ID?", "state": {"send": "S?", "reply": "OUT {state:code}"}}
    codes = {"state": {"off": "0", "on": "1"}}
    whole = {"name": "x", "format": 2, "ask": ask, "tell": {}, "codes": codes}
    exchange = CommandSet.model_validate(whole).exchange("state")
    assert exchange.read(b"OUT 1") == {"state": 1.0}
    with pytest.raises(ValueError, match="it should be") as told:
        exchange.read(body)
    assert str(told.value) == says


def test_what_an_instrument_says_has_no_character_that_works_a_terminal() -> None:
    """From a disturbed line ESC, BEL or CSI may come; ESC [8m would hide a warning after it."""
    exchange = CommandSet.model_validate(
        {"format": 2, "name": "x", "ask": {"identify": "ID?"}, "tell": {}}
    ).exchange("identify")
    said = exchange.read(b"Orrery \xb5 <A>,\x1b[8mTern\x07\x9b")
    assert said["identity"] == "Orrery \xb5 <A>,<ESC>[8mTern<BEL><9B>"
