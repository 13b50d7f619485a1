"""Faults strike the message or reply that they name, and no other."""

import pytest

from ohmwright.model.errors import UsageError
from ohmwright.model.shipped import shipped
from ohmwright.model.source import load
from ohmwright.simulator.faults import LineFault
from ohmwright.simulator.faulty_bench import FaultyBench
from ohmwright.simulator.faulty_port import FaultyPort
from ohmwright.simulator.profile import AnalyzerProfile, GeneratorProfile
from ohmwright.wire.clock import VirtualClock


def heard(fault: str, messages: int = 4) -> list[bytes]:
    def port(line: bytes) -> bytes:
        return line.replace(b"q", b"r")

    faulty = FaultyPort(port, LineFault.parse(fault), other=lambda _: b"other\n")
    return [faulty(b"q%d\n" % n) for n in range(1, messages + 1)]


@pytest.mark.parametrize(
    ("fault", "arrives"),
    [
        ("lose:reply:once:2", [b"r1\n", b"", b"r3\n", b"r4\n"]),
        ("lose:message:ever:3", [b"r1\n", b"r2\n", b"", b""]),
        ("repeat:reply:once:1", [b"r1\nr1\n", b"r2\n", b"r3\n", b"r4\n"]),
        ("again:reply:once:1", [b"r1\n", b"r1\nr2\n", b"r3\n", b"r4\n"]),
        ("late:reply:ever:2", [b"r1\n", b"", b"r2\n", b"r3\n"]),
        ("reorder:message:once:2", [b"r1\n", b"", b"r3\nr2\n", b"r4\n"]),
        ("insert:reply:once:3", [b"r1\n", b"r2\n", b"r2\nr3\n", b"r4\n"]),
        ("cut:message:once:2", [b"r1\n", b"", b"rr3\n", b"r4\n"]),
        ("masquerade:message:once:2", [b"r1\n", b"other\n", b"r3\n", b"r4\n"]),
    ],
)
def test_each_kind(fault: str, arrives: list[bytes]) -> None:
    assert heard(fault) == arrives


def test_a_digit_stays_a_digit() -> None:
    first, second, *_ = heard("digit:reply:once:2")
    assert first == b"r1\n"
    assert second != b"r2\n"
    assert second[:1] == b"r"
    assert second[1:2].isdigit()


def test_unplugged_at_the_message() -> None:
    with pytest.raises(ConnectionResetError):
        heard("unplug:message:ever:3")


@pytest.mark.parametrize(
    ("text", "whole"),
    [
        ("lose:reply:once:3", "analyzer:lose:reply:once:3"),
        ("generator:digit:message:ever:012", "generator:digit:message:ever:12"),
    ],
)
def test_parsed_and_written(text: str, whole: str) -> None:
    assert str(LineFault.parse(text)) == whole
    assert LineFault.parse(whole) == LineFault.parse(text)


def test_a_bench_with_faults_on_both_lines() -> None:
    texts = ("lose:reply:once:1", "digit:reply:ever:2", "generator:masquerade:message:once:1")
    bench = FaultyBench(
        load(shipped("analyzers", "gantry-400.toml"), AnalyzerProfile),
        load(shipped("generators", "quillon-300.toml"), GeneratorProfile),
        seed=5,
        clock=VirtualClock(),
        faults=[LineFault.parse(text) for text in texts],
    )
    assert bench.analyzer_port(b"*IDN?\n") == b""
    assert bench.analyzer_port(b"*ESE 0;*ESE?\n") in [b"%d\n" % digit for digit in range(1, 10)]
    assert bench.generator_port(b"*IDN?\n").endswith(b",S001005,1.0\n")
    assert bench.generator_port(b"*IDN?\n").endswith(b",S000005,1.0\n")


@pytest.mark.parametrize(
    "text",
    ["", "rust:reply:once:1", "lose:reply:once:0", "lose:up:once:1", "lose:reply:once:3:4"],
)
def test_no_fault(text: str) -> None:
    with pytest.raises(UsageError, match="is no fault"):
        LineFault.parse(text)
