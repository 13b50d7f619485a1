"""SCPI-1999 and IEEE 488.2 against what is published, and blocks against pyvisa.

Numbers of clauses are from memory, save those of the common commands; each value is from the
source named beside it.
"""

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyvisa import util

from ohmwright.simulator.dispatcher import Dispatcher, common_commands
from ohmwright.simulator.scpi_errors import ERRORS, ErrorQueue, event_bit
from ohmwright.wire.scpi import (
    block_length,
    decode_block,
    encode_block,
    format_number,
    parse_number,
    short_form,
)

# SCPI-1999 volume 2, chapter 21.8, as listed in the parser library libscpi, inc/scpi/error.h
ERROR_TABLE = """
0 No error
-100 Command error
-101 Invalid character
-102 Syntax error
-103 Invalid separator
-104 Data type error
-105 GET not allowed
-108 Parameter not allowed
-109 Missing parameter
-110 Command header error
-111 Header separator error
-112 Program mnemonic too long
-113 Undefined header
-114 Header suffix out of range
-115 Unexpected number of parameters
-120 Numeric data error
-121 Invalid character in number
-123 Exponent too large
-124 Too many digits
-128 Numeric data not allowed
-130 Suffix error
-131 Invalid suffix
-134 Suffix too long
-138 Suffix not allowed
-140 Character data error
-141 Invalid character data
-144 Character data too long
-148 Character data not allowed
-150 String data error
-151 Invalid string data
-158 String data not allowed
-160 Block data error
-161 Invalid block data
-168 Block data not allowed
-200 Execution error
-203 Command protected
-210 Trigger error
-213 Init ignored
-220 Parameter error
-221 Settings conflict
-222 Data out of range
-223 Too much data
-224 Illegal parameter value
-230 Data corrupt or stale
-240 Hardware error
-241 Hardware missing
-300 Device specific error
-310 System error
-330 Self-test failed
-340 Calibration failed
-350 Queue overflow
-360 Communication error
-361 Parity error in program message
-362 Framing error in program message
-363 Input buffer overrun
-365 Time out error
-400 Query error
-410 Query INTERRUPTED
-420 Query UNTERMINATED
-430 Query DEADLOCKED
-440 Query UNTERMINATED after indefinite response
-500 Power on
-600 User request
-700 Request control
-800 Operation complete
"""


def test_error_numbers_and_texts() -> None:
    published = {}
    for entry in ERROR_TABLE.strip().splitlines():
        number, _, text = entry.partition(" ")
        published[int(number)] = text
    assert published == ERRORS


# IEEE 488.2, 11.5.1, classes of SCPI-1999 21.8 as in libscpi, src/error.c
@pytest.mark.parametrize(
    ("first", "last", "bit"),
    [
        (-199, -100, 32),  # command error
        (-299, -200, 16),  # execution error
        (-399, -300, 8),  # device-specific error
        (1, 32767, 8),
        (-499, -400, 4),  # query error
        (-599, -500, 128),  # power on
        (-699, -600, 64),  # user request
        (-799, -700, 2),  # request control
        (-899, -800, 1),  # operation complete
        (0, 0, 0),
    ],
)
def test_event_status_bits(first: int, last: int, bit: int) -> None:
    assert {event_bit(first), event_bit((first + last) // 2), event_bit(last)} == {bit}


# SCPI-1999 volume 1, 6.2.1, as quoted in several vendors' programming guides
@pytest.mark.parametrize(
    ("mnemonic", "short"),
    [
        ("SYSTem", "SYST"),
        ("ERRor", "ERR"),
        ("MEASure", "MEAS"),
        ("CURRent", "CURR"),
        ("OUTPut", "OUTP"),
        ("POWer", "POW"),
        ("RESistance", "RES"),
        ("FREQuency", "FREQ"),
        ("VOLTage", "VOLT"),
        ("IMMediate", "IMM"),
        ("DATA", "DATA"),
        ("FREE", "FREE"),
        ("TRIM", "TRIM"),
    ],
)
def test_short_forms(mnemonic: str, short: str) -> None:
    assert short_form(mnemonic) == short
    assert short_form(mnemonic.lower()) == short


def test_stand_ins_for_what_is_no_number() -> None:
    """SCPI-1999 volume 1, 7.2.1: 9.91E37 is not a number, 9.9E37 and -9.9E37 are infinities.

    As quoted in several vendors' programming guides.
    """
    assert str(parse_number("9.91E37")) == "nan"
    assert parse_number("9.9E37") == float("inf")
    assert parse_number("-9.9E37") == float("-inf")
    assert float(format_number(float("nan"))) == 9.91e37
    assert float(format_number(float("inf"))) == 9.9e37
    assert float(format_number(float("-inf"))) == -9.9e37


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("12", 12.0),  # NR1
        ("-12.5", -12.5),  # NR2
        ("+1.25E+01", 12.5),  # NR3; forms from memory (IEEE 488.2, 8.7.2 to 8.7.4)
        (".5", 0.5),
        ("5.", 5.0),
    ],
)
def test_forms_of_numbers(text: str, number: float) -> None:
    assert parse_number(text) == number


def test_the_example_of_a_block() -> None:
    """IEEE 488.2, 8.7.9, from memory; pyvisa.util finds the same header in it."""
    assert util.parse_ieee_block_header(b"#15hello") == (3, 5)
    assert block_length(b"#15hello") == 3 + 5
    assert decode_block(b"#15hello") == b"hello"
    assert encode_block(b"hello") == b"#15hello"
    assert encode_block(b"\x01\x02\x03") == util.to_ieee_block([1, 2, 3], "B")


@given(st.lists(st.integers(-(1 << 15), (1 << 15) - 1), max_size=200))
def test_waveform_blocks_as_pyvisa_makes_and_reads_them(counts: list[int]) -> None:
    data = struct.pack(f">{len(counts)}h", *counts)
    block = encode_block(data)
    assert block == util.to_ieee_block(counts, "h", is_big_endian=True)
    assert list(util.from_ieee_block(block, "h", is_big_endian=True)) == counts
    assert decode_block(block) == data


def test_a_full_queue_replaces_its_last_entry() -> None:
    """SCPI-1999 volume 2, 21.8.1: overflow replaces the last entry with -350, as in libscpi."""
    queue = ErrorQueue(size=3)
    for code in (-101, -102, -103, -104):
        queue.push(code)
    assert [queue.pop() for _ in range(4)] == [
        '-101,"Invalid character"',
        '-102,"Syntax error"',
        '-350,"Queue overflow"',
        '0,"No error"',
    ]


def test_mandatory_common_commands() -> None:
    """IEEE 488.2, 10.3 to 10.39; each is known, so none leaves an error behind.

    That *IDN? has four fields is from memory (10.14).
    """
    device = Dispatcher()
    common_commands(device, "Maker,Model,1,0", lambda: None)
    commands = ["*CLS", "*ESE", "*OPC", "*RST", "*SRE", "*WAI"]
    queries = ["*ESE?", "*ESR?", "*IDN?", "*OPC?", "*SRE?", "*STB?", "*TST?"]
    for word in commands + queries:
        argument = b" 0" if word in ("*ESE", "*SRE") else b""
        reply = device.handle(word.encode() + argument + b"\n")
        assert bool(reply) == word.endswith("?")
    assert device.handle(b"SYST:ERR?;VERS?\n") == b'0,"No error";1999.0\n'
    assert len(device.handle(b"*IDN?\n").split(b",")) == 4
