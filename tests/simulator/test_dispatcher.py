"""The instrument's side: compound messages, arguments, errors, status."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmwright.simulator.dispatcher import CommandError, Dispatcher, common_commands


@pytest.fixture
def device() -> Dispatcher:
    return made()


def made() -> Dispatcher:
    device = Dispatcher()
    common_commands(device, "Maker,Model,1,0", lambda: None)
    device.on("FETCh:CURRent?", lambda _: "1")
    device.on("FETCh:LEAKage?", lambda _: "2")
    device.on("FETCh:WAVeform?", lambda _: b"#11\xff")
    device.on("ECHO?", lambda arguments: "|".join(arguments))
    device.on("INPut:IMPedance", _refuse)
    device.on("CONFuse", lambda arguments: int(arguments[0]) and None)
    return device


def _refuse(_: list[str]) -> None:
    raise CommandError(-222)


@pytest.mark.parametrize(
    "line",
    [
        b"FETCh:CURRent?\n",
        b"fetc:curr?\r\n",
        b":FETC:CURRENT?\n",
        b"  FETCh:CURRent?  \n",
    ],
)
def test_spellings(device: Dispatcher, line: bytes) -> None:
    assert device.handle(line) == b"1\n"


@pytest.mark.parametrize("line", [b"FETCH:CURRE?\n", b"FET:CURR?\n", b"FETC:CURR\n", b"\xff\x00\n"])
def test_what_is_no_header_gets_no_reply_but_an_error(device: Dispatcher, line: bytes) -> None:
    assert device.handle(line) == b""
    assert device.handle(b"SYST:ERR?\n") == b'-113,"Undefined header"\n'


def test_the_path_of_a_header_carries_over(device: Dispatcher) -> None:
    assert device.handle(b"FETC:CURR?;LEAK?\n") == b"1;2\n"
    assert device.handle(b"FETC:CURR?;*OPC?;LEAK?\n") == b"1;1;2\n"
    assert device.handle(b"FETC:CURR?;FETC:LEAK?\n") == b"1\n"
    assert device.handle(b"FETC:CURR?;:FETC:LEAK?\n") == b"1;2\n"


def test_an_error_does_not_stop_the_line(device: Dispatcher) -> None:
    assert device.handle(b"INP:IMP 7;:FETC:CURR?\n") == b"1\n"
    assert device.handle(b"SYST:ERR:NEXT?\n") == b'-222,"Data out of range"\n'
    assert device.handle(b"SYST:ERR?\n") == b'0,"No error"\n'


def test_blocks_pass_as_they_are(device: Dispatcher) -> None:
    assert device.handle(b"FETC:WAV?\n") == b"#11\xff\n"


def test_arguments(device: Dispatcher) -> None:
    assert device.handle(b'ECHO? ON , 1.5,"a;b,c"\n') == b'ON|1.5|"a;b,c"\n'
    assert device.handle(b"ECHO?\t7\n") == b"7\n"


def test_an_argument_of_the_wrong_kind(device: Dispatcher) -> None:
    assert device.handle(b"CONF x\n") == b""
    assert device.handle(b"SYST:ERR?\n") == b'-104,"Data type error"\n'


@pytest.mark.parametrize(
    ("line", "error"),
    [
        (b"*ESE\n", b"-109"),
        (b"*ESE 1,2\n", b"-108"),
        (b"*ESE 256\n", b"-222"),
        (b"*ESE 9.9E37\n", b"-104"),
        (b"*ESE 9.91E37\n", b"-104"),
    ],
)
def test_bad_arguments_of_a_common_command(device: Dispatcher, line: bytes, error: bytes) -> None:
    device.handle(line)
    assert device.handle(b"SYST:ERR?\n").startswith(error)


def test_a_handler_added_later_is_found(device: Dispatcher) -> None:
    assert device.handle(b"LATE?\n") == b""
    device.on("LATE?", lambda _: "here")
    assert device.handle(b"LATE?\n") == b"here\n"


def test_the_queue_keeps_the_oldest_errors_and_says_that_it_ran_over(device: Dispatcher) -> None:
    for _ in range(40):
        device.handle(b"NONE?\n")
    entries = [device.handle(b"SYST:ERR?\n") for _ in range(len(device.errors))]
    assert entries[0] == b'-113,"Undefined header"\n'
    assert entries[-1] == b'-350,"Queue overflow"\n'


def test_status_of_ieee_488_2(device: Dispatcher) -> None:
    assert device.handle(b"*ESR?\n") == b"128\n"
    device.handle(b"*ESE 32;*SRE 32;NONE?\n")
    assert device.handle(b"*STB?\n") == b"100\n"  # error queue 4, event 32, request 64
    assert device.handle(b"*ESR?;*ESR?\n") == b"32;0\n"
    device.handle(b"NONE?;*CLS\n")
    assert device.handle(b"*STB?;SYST:ERR?\n") == b'0;0,"No error"\n'


def test_resynchronisation_echo(device: Dispatcher) -> None:
    assert device.handle(b"*CLS;*ESE 137;*ESE?\n") == b"137\n"


@given(st.binary(max_size=60))
def test_garbage_never_stops_it(line: bytes) -> None:
    device = made()
    device.handle(line + b"\n")
    assert device.handle(b"FETC:CURR?\n") == b"1\n"
