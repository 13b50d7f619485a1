"""What the ports say, word for word, and that no bytes can upset them."""

from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmwright.model.shipped import shipped
from ohmwright.model.source import load
from ohmwright.simulator.profile import AnalyzerProfile, GeneratorProfile
from ohmwright.wire.clock import VirtualClock

from .conftest import BenchOnAClock, Make

OK = '0,"No error"'


@pytest.mark.parametrize(
    ("line", "reply"),
    [
        ("*IDN?", "Hollin & Skerry,Gantry 400,A000001,1.0"),
        ("SYST:VERS?", "1999.0"),
        ("INPut:IMPedance?", "+4.70000E+03"),
        ("inp:imp 500;imp?", "+5.00000E+02"),
        ("INP:PATH?", "OUTP"),
        ("INP:PATH CQUality;PATH?", "CQU"),
        ("INP:CQU:IMP 120;IMP?", "+1.20000E+02"),
        ("OUTP:STAT?;STAT:REM?", "0;+0.00000E+00"),
        ("OUTP:STAT:CEIL?", "+6.00000E+01"),
        ("OUTP:STAT:CEIL 7.5;CEIL?", "+7.50000E+00"),
        ("OUTP:STAT:CEIL 7.5;:*RST;:OUTP:STAT:CEIL?", "+6.00000E+01"),
        ("OUTP:STAT:CEIL 7.5;:OUTP:STAT ON,7.5;STAT?", "1"),
        ("FETC:CURR?", "9.91E+37,A,00000"),
        ("FETC:LEAK?", "9.91E+37,A,00000"),
        ("*ESE 17;*ESE?", "17"),
        ("OUTP:STAT OFF;:SYST:ERR?", OK),
        ("OUTP ON,7.5;:OUTP?", "1"),
        ("OUTP:CEIL 7.5;CEIL?", "+7.50000E+00"),
    ],
)
def test_analyzer_says(make: Make, line: str, reply: str) -> None:
    assert make().ask(line) == reply


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("INP:IMP 501", -222),
        ("INP:IMP abc", -104),
        ("INP:IMP", -109),
        ("INP:IMP 9.91E37", -222),
        ("INP:PATH SIDEWAYS", -224),
        ("INP:CQU:IMP 1", -222),
        ("OUTP:STAT ON", -109),
        ("OUTP:STAT ON,0", -222),
        ("OUTP:STAT ON,61", -222),
        ("OUTP:STAT ON,9.9E37", -222),
        ("OUTP:STAT:CEIL 0", -222),
        ("OUTP:STAT:CEIL 61", -222),
        ("OUTP:STAT:CEIL 7.5;:OUTP:STAT ON,7.501", -222),
        ("OUTP:STAT ON,5;STAT:CEIL 9", -221),
        ("OUTP:STAT MAYBE", -104),
        ("OUTP:STAT ON,5;STAT ON,5", -221),
        ("OUTP:STAT ON,5;:INP:IMP 100", -221),
        ("OUTP:STAT ON,5;:INP:PATH LEAK", -221),
        ("OUTPU:STAT?", -113),
        ("*ESE 256", -222),
    ],
)
def test_analyzer_refuses(make: Make, line: str, code: int) -> None:
    bench = make()
    assert bench.ask(line) == ""
    assert bench.ask("SYST:ERR?").startswith(f"{code},")
    assert bench.ask("SYST:ERR?") == OK


@pytest.mark.parametrize(
    ("line", "reply"),
    [
        ("*IDN?", "Tessenhove,Quillon 300,S000001,1.0"),
        ("SOUR:FUNC?;POW?", '"cut";+3.10000E+01'),
        ('SOUR:FUNC "bipolar";POW 60;POW?;FUNC?', '+6.00000E+01;"bipolar"'),
        ("SOUR:FUNC BIP;FUNC?", '"bipolar"'),
        ("CAL:STAT?;POIN?", '0;""'),
        (
            "CAL:STAT ON;POIN 'coag power';POIN?;:SOUR:FUNC?;POW?",
            '"coag power";"coag";+1.05000E+02',
        ),
        ('CAL:STAT ON;POIN "cut power";TRIM -12;TRIM?', "-12"),
        ('CAL:STAT ON;POIN "cut power";TRIM 5;KEY FINE,UP,3;TRIM?', "8"),
        ("SENS:CQU:ALAR?", "0"),
    ],
)
def test_generator_says(make: Make, line: str, reply: str) -> None:
    assert make().ask_generator(line) == reply


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("SOUR:FUNC weld", -224),
        ("SOUR:POW 311", -222),
        ("SOUR:POW -1", -222),
        ("CAL:TRIM 3", -221),
        ('CAL:POIN "cut power"', -221),
        ('CAL:STAT ON;POIN "elbow"', -224),
        ("CAL:STAT ON;TRIM?", -221),
        ('CAL:STAT ON;POIN "cut power";TRIM 1001', -222),
        ('CAL:STAT ON;POIN "cut power";TRIM 1.5', -104),
        ('CAL:STAT ON;POIN "cut power";TRIM 9.9E37', -222),
        ('CAL:STAT ON;POIN "cut power";KEY SOFT,UP,1', -224),
        ('CAL:STAT ON;POIN "cut power";KEY FINE,UP', -109),
        ("CAL:STOR", -221),
    ],
)
def test_generator_refuses(make: Make, line: str, code: int) -> None:
    bench = make()
    assert bench.ask_generator(line) == ""
    assert bench.ask_generator("SYST:ERR?").startswith(f"{code},")
    assert bench.ask_generator("SYST:ERR?") == OK


@pytest.mark.parametrize("line", ['SOUR:FUNC "coag"', "CAL:STAT ON", "CAL:STAT OFF"])
def test_generator_is_left_alone_while_rf_is_on(make: Make, line: str) -> None:
    bench = make()
    bench.ask("OUTP:STAT ON,5")
    bench.ask_generator(line)
    assert bench.ask_generator("SYST:ERR?") == '-221,"Settings conflict"'
    assert bench.truth.rf_on


def test_analyzer_without_extras_knows_no_extra_commands(quillon: GeneratorProfile) -> None:
    plover = load(shipped("analyzers", "plover-200.toml"), AnalyzerProfile)
    bench = BenchOnAClock(plover, quillon, seed=1, clock=VirtualClock())
    for line in ("FETC:WAV?", "FETC:CFAC?", "INP:CQU:IMP 100"):
        assert bench.ask(line) == ""
        assert bench.ask("SYST:ERR?") == '-113,"Undefined header"'
    bench.ask("INP:PATH CQU")
    assert bench.ask("SYST:ERR?").startswith("-224,")


HEADERS = [
    "*RST", "*ESE", "*SRE", "*ESR?", "INP:IMP", "INP:PATH", "INP:CQU:IMP", "OUTP:STAT",
    "OUTP:STAT:REM?", "FETC:CURR?", "FETC:WAV?", "FETC:CFAC?", "SOUR:FUNC", "SOUR:POW",
    "CAL:STAT", "CAL:POIN", "CAL:TRIM", "CAL:KEY", "CAL:STOR", "SYST:ERR?", "",
]  # fmt: skip
ARGUMENTS = [
    "ON", "OFF", "ON,5", "1", "0", "500", "-3", "1e400", "inf", "nan", "9.91E37", "COAR,UP,2",
    '"cut power"', "'cut", "LEAK", ",,,", "",
]  # fmt: skip
LIKELY = st.lists(
    st.tuples(st.sampled_from(HEADERS), st.sampled_from(ARGUMENTS)).map(" ".join), max_size=4
).map(lambda messages: ";".join(messages).encode())


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(st.booleans(), st.binary(max_size=40) | LIKELY, st.floats(0, 3))))
def test_no_bytes_upset_it(lines: list[tuple[bool, bytes, float]]) -> None:
    bench = garbage_bench()
    for to_analyzer, line, pause_s in lines:
        bench.clock.advance(pause_s)
        port = bench.analyzer_port if to_analyzer else bench.generator_port
        reply = port(line + b"\n")
        assert reply == b"" or reply.endswith(b"\n")
    bench.clock.advance(70.0)  # longer than any limit
    assert not bench.truth.rf_on
    assert bench.ask("*CLS;*ESE 9;*ESE?") == "9"
    assert bench.ask_generator("*CLS;*ESE 9;*ESE?") == "9"


@cache
def garbage_profiles() -> tuple[AnalyzerProfile, GeneratorProfile]:
    analyzer = load(shipped("analyzers", "gantry-400.toml"), AnalyzerProfile)
    return analyzer, load(shipped("generators", "lisse-80.toml"), GeneratorProfile)


def garbage_bench() -> BenchOnAClock:
    return BenchOnAClock(*garbage_profiles(), seed=1, clock=VirtualClock())


def test_two_instruments_never_say_the_same_serial_number(make: Make) -> None:
    """On paper one number is one instrument; whoever sees it twice can trust neither."""
    said = set[str]()
    for seed in range(1, 4):
        bench = make(seed=seed)
        said |= {ask("*IDN?").split(",")[2] for ask in (bench.ask, bench.ask_generator)}
        assert bench.panel.serial_plate in bench.ask_generator("*IDN?")
    assert len(said) == 6
