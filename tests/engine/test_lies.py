"""An analyzer whose answers are well formed and not true: nothing of them becomes a value."""

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest

from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.model.errors import ActivationVoid, OhmwrightError
from ohmwright.model.event import Fault, PointDone

from .conftest import Rig

pytestmark = pytest.mark.anyio
PROCEDURE = """\
title = "One output"
revision = "1"
model = "Quillon 300"

[defaults]
max_on_s = 12

[[step]]
kind = "output"
name = "cut"
mode = "cut"
setting_w = 150
load_ohm = 500
power_w = 150
tolerance = { percent = 20 }

[[step]]
kind = "leakage"
name = "leak"
mode = "cut"
setting_w = 310
limit_ma = 150
"""
Reply = Callable[[bytes, bytes], bytes]
"""What arrives, of a question and its true reply."""


def _reading(changed: Callable[[float, int], float]) -> Callable[[Rig], Reply]:
    """A meter that shows `changed` of the current in A and the reading's number with RF on."""

    def reply_of(rig: Rig) -> Reply:
        def reply(question: bytes, said: bytes) -> bytes:
            if not question.startswith(b"FETCh:") or not rig.hardware.truth.rf_on:
                return said
            value, unit, number = said.strip().split(b",")
            lie = changed(float(value), int(number))
            return b"%+.5E,%s,%s\n" % (lie, unit, number)

        return reply

    return reply_of


def _swapped(rig: Rig) -> Reply:
    """State and time left change places."""
    other = {b"OUTPut:STATe?\n": b"OUTP:REM?\n", b"OUTPut:STATe:REMaining?\n": b"OUTP?\n"}
    return lambda question, said: (
        rig.hardware.analyzer_port(other[question]) if question in other else said
    )


def _late(rig: Rig) -> Reply:
    """The output's state is that of two seconds ago."""
    said_before: list[tuple[float, bytes]] = []

    def reply(question: bytes, said: bytes) -> bytes:
        if question != b"OUTPut:STATe?\n":
            return said
        now_s = rig.bench.clock.now_s()
        said_before.append((now_s, said))
        return [was for at_s, was in said_before if at_s <= max(now_s - 2, said_before[0][0])][-1]

    return reply


def _just_before_on(port: Callable[[bytes], bytes], command: bytes) -> Reply:
    """Somebody sets an instrument otherwise after that was read back."""

    def reply(question: bytes, said: bytes) -> bytes:
        if question == b"OUTPut:STATe:CEILing?\n":
            port(command)
        return said

    return reply


def _another_load(rig: Rig) -> Reply:
    """Somebody turns the load after it was read back, just before ON."""
    return _just_before_on(rig.hardware.analyzer_port, b"INP:IMP 600\n")


def _another_setting(rig: Rig) -> Reply:
    """Somebody turns the unit's knob after it was read back, just before ON: less leaks then."""
    return _just_before_on(rig.hardware.generator_port, b"SOUR:POW 20\n")


def _another_mode(rig: Rig) -> Reply:
    """Somebody chooses another mode there."""
    return _just_before_on(rig.hardware.generator_port, b'SOUR:FUNC "coag"\n')


LIES: dict[str, tuple[Callable[[Rig], Reply], str]] = {
    "the sign is turned": (_reading(lambda amps, _: -amps), "no RMS current is negative"),
    "the sign of some is turned": (
        _reading(lambda amps, number: amps if number % 4 else -amps),
        "no RMS current is negative",
    ),
    "some readings show nothing": (
        _reading(lambda amps, number: amps if number % 5 else 0.0),
        "the current came and went",
    ),
    "state and time left are swapped": (_swapped, "would hold RF on for 1 s, not for 4 s"),
    "the load is another one": (_another_load, "The load was changed: 600 ohm reads back"),
    "the setting is another one": (_another_setting, "20 W reads back, not"),
    "the mode is another one": (_another_mode, "mode coag reads back, not cut"),
    "the state is late": (_late, "not seen that OFF opens the output"),
}
"""Each lie, and the words by which it is told."""


@pytest.mark.parametrize("lie", LIES)
async def test_what_is_not_true_gives_no_verdict(
    make_rig: Callable[..., Rig], tmp_path: Path, lie: str
) -> None:
    procedure = tmp_path / "procedure.toml"
    procedure.write_text(PROCEDURE, encoding="utf-8")
    rig = make_rig()
    reply_of, words = LIES[lie]
    port, reply = rig.hardware.analyzer_port, reply_of(rig)
    rig.bench.analyzer.dialogue.framing.link._handle = lambda line: reply(line, port(line))
    said = []
    with suppress(OhmwrightError):
        async for event in run(Job(read_procedure(procedure), ("as_found",), "test"), rig.bench):
            if isinstance(event, PointDone):
                assert event.result.verdict == "not measured"
                said.append(event.result.reason)
            elif isinstance(event, Fault):
                said.append(event.message)
    assert said
    assert all(words in text for text in said), said
    assert not rig.hardware.truth.rf_on


async def test_a_leakage_of_another_setting_is_no_pass(
    make_rig: Callable[..., Rig], tmp_path: Path
) -> None:
    """A tenth of the power leaks a fraction of the current."""
    procedure = tmp_path / "procedure.toml"
    head, _, leakage = PROCEDURE.split("[[step]]")
    procedure.write_text(f"{head}[[step]]{leakage}", encoding="utf-8")
    rig = make_rig()
    port, turned = rig.hardware.analyzer_port, _another_setting(rig)
    leaks = False

    def reply(question: bytes) -> bytes:
        nonlocal leaks
        leaks = leaks or question == b"INPut:PATH LEAKAGE\n"
        return turned(question, port(question)) if leaks else port(question)

    rig.bench.analyzer.dialogue.framing.link._handle = reply
    job = Job(read_procedure(procedure), ("as_found",), "test")
    with pytest.raises(ActivationVoid, match="20 W reads back, not 310 W"):
        [event async for event in run(job, rig.bench)]
    assert not rig.hardware.truth.rf_on


async def test_a_load_that_goes_with_off_is_no_other_load(
    make_rig: Callable[..., Rig], tmp_path: Path
) -> None:
    """As of an analyzer that disconnects its load bank whenever the output opens."""
    procedure = tmp_path / "procedure.toml"
    procedure.write_text(PROCEDURE.partition('[[step]]\nkind = "leakage"')[0], encoding="utf-8")
    rig, released = make_rig(), False
    port = rig.hardware.analyzer_port

    def reply(question: bytes) -> bytes:
        nonlocal released
        if question.startswith((b"OUTPut:STATe OFF", b"INPut:IMPedance ")):
            released = question.startswith(b"OUTP")
        said = port(question)
        return b"9.9E37\n" if released and question.startswith(b"INPut:IMPedance?") else said

    rig.bench.analyzer.dialogue.framing.link._handle = reply
    job = Job(read_procedure(procedure), ("as_found",), "test")
    events = [event async for event in run(job, rig.bench)]
    assert [one.result.verdict for one in events if isinstance(one, PointDone)] == ["pass"]
