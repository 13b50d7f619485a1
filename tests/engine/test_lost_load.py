"""A load that the analyzer took at the start and refuses later: a choice, and no end of the run."""

from collections.abc import Callable
from pathlib import Path

import pytest

from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.engine.run_so_far import results
from ohmwright.instruments.doubt_requests import MendLoad
from ohmwright.model.errors import LoadNotConnected, ReleaseNotConfirmed
from ohmwright.model.event import ActivationClosed, ActivationOpened, Event, Fault, RunFinished
from ohmwright.model.result import Result

from .conftest import Rig

pytestmark = pytest.mark.anyio
HEAD = """\
title = "Loads"
revision = "1"
model = "Quillon 300"

[defaults]
rest_s = 2
"""
CURVE = """
[[step]]
kind = "power_curve"
name = "curve"
mode = "cut"
setting_w = 100
loads_ohm = [500, 100, 1000]
power_w = [100, 100, 100]
tolerance = { percent = 20 }
"""
ADJUST = """
[[step]]
kind = "adjust"
name = "adjust-current"
point = "cut current"
load_ohm = 100
current_ma = 900
tolerance = { absolute_ma = 9 }
"""


def _lose(rig: Rig, load_ohm: float, times: int = 1000) -> None:
    """Have the analyzer refuse a load so many times, once RF was on."""
    port, truth, left = rig.hardware.analyzer_port, rig.hardware.truth, [times]

    def refusing(line: bytes) -> bytes:
        verb, _, value = line.partition(b" ")
        lost = verb == b"INPut:IMPedance" and float(value) == load_ohm
        if lost and truth.rf_on_intervals and left[0]:
            left[0] -= 1
            return port(b"INPut:IMPedance 333\n")
        return port(line)

    rig.bench.analyzer.dialogue.framing.link._handle = refusing


def _say(rig: Rig, *answers: str) -> list[str]:
    """Have the person give these answers to a lost load; return what they were asked."""
    asked, left, reply = list[str](), iter(answers), rig.bench.operator.reply

    async def replied(request: object, problem: str) -> str:
        if not isinstance(request, MendLoad):
            return await reply(request, problem)
        asked.append(request.text)
        assert rig.bench.rf.state == "off"
        return next(left)

    rig.bench.operator.reply = replied
    return asked


async def _run(rig: Rig, tmp_path: Path, steps: str, stage: str = "as_found") -> list[Event]:
    procedure = tmp_path / "procedure.toml"
    procedure.write_text(HEAD + steps, encoding="utf-8")
    events = [
        event async for event in run(Job(read_procedure(procedure), (stage,), "t"), rig.bench)
    ]
    opened = [type(e) for e in events if isinstance(e, ActivationOpened | ActivationClosed)]
    assert opened == [ActivationOpened, ActivationClosed] * (len(opened) // 2)
    return events


def _found(events: list[Event]) -> dict[str, Result]:
    return {one.point: one for one in results(events)}


async def test_unattended_the_point_is_not_measured_and_the_run_goes_on(
    make_rig: Callable[..., Rig], tmp_path: Path
) -> None:
    rig = make_rig()
    _lose(rig, 100)
    events = await _run(rig, tmp_path, CURVE)
    found = _found(events)
    assert [found[point].verdict for point in ("500 ohm", "100 ohm", "1000 ohm")] == [
        "pass",
        "not measured",
        "pass",
    ]
    assert found["100 ohm"].reason.startswith("The analyzer did not connect 100 ohm: ")
    assert isinstance(events[-1], RunFinished)
    assert events[-1].verdict == "not measured"


async def test_a_load_that_was_refused_once_is_asked_for_again(
    make_rig: Callable[..., Rig], tmp_path: Path
) -> None:
    """What was refused may have been damaged on its way."""
    rig = make_rig()
    _lose(rig, 100, times=1)
    found = _found(await _run(rig, tmp_path, CURVE))
    assert [one.verdict for one in found.values()] == ["pass", "pass", "pass"]


async def test_a_person_may_mend_it_and_the_point_is_measured(
    make_rig: Callable[..., Rig], tmp_path: Path
) -> None:
    rig = make_rig(attended=True)
    _lose(rig, 100, times=4)  # each is tried twice before anybody is asked
    asked = _say(rig, "again", "again")
    events = await _run(rig, tmp_path, CURVE)
    assert [one.verdict for one in _found(events).values()] == ["pass", "pass", "pass"]
    assert len(asked) == 2
    assert asked[0].startswith("Step 'curve', point 100 ohm: the analyzer did not connect 100 ohm.")
    assert "refused" in asked[0]


async def test_a_person_may_go_on_without_the_point(
    make_rig: Callable[..., Rig], tmp_path: Path
) -> None:
    rig = make_rig(attended=True)
    _lose(rig, 100)
    _say(rig, "without")
    found = _found(await _run(rig, tmp_path, CURVE))
    verdicts = [one.verdict for one in found.values()]
    assert verdicts == ["pass", "not measured", "pass"]
    assert found["100 ohm"].reason.endswith("gone on without it, as told by simulated person")


async def test_a_person_may_stop_the_run(make_rig: Callable[..., Rig], tmp_path: Path) -> None:
    rig = make_rig(attended=True)
    _lose(rig, 100)
    _say(rig, "stop")
    events = await _run(rig, tmp_path, CURVE)
    assert isinstance(events[-1], Fault)
    assert events[-1].error == "Stopped"
    assert list(_found(events)) == ["500 ohm"]


@pytest.mark.parametrize(
    ("answers", "verdict"), [(("again",), "pass"), (("skip it",), "not measured")]
)
async def test_an_adjustment_begins_anew_or_is_left_unstored(
    make_rig: Callable[..., Rig], tmp_path: Path, answers: tuple[str, ...], verdict: str
) -> None:
    rig = make_rig(attended=True)
    rest = CURVE.replace("[500, 100, 1000]", "[500]").replace("[100, 100, 100]", "[100]")
    _lose(rig, 100, times=2)
    asked = _say(rig, *answers)
    steps = rest.replace('mode = "cut"', 'mode = "cut"\nstages = ["adjust"]') + ADJUST
    events = await _run(rig, tmp_path, steps, "adjust")
    assert asked[0].startswith("Step 'adjust-current', point cut current: the analyzer did not")
    assert _found(events)["cut current"].verdict == verdict
    assert not rig.hardware._rig.generator.in_service


async def test_where_rf_does_not_read_off_nothing_goes_on(
    make_rig: Callable[..., Rig], tmp_path: Path
) -> None:
    rig = make_rig(attended=True)
    asked = _say(rig)
    port, truth = rig.hardware.analyzer_port, rig.hardware.truth

    def welding(line: bytes) -> bytes:
        verb, _, value = line.partition(b" ")
        if verb == b"INPut:IMPedance" and float(value) == 100 and truth.rf_on_intervals:
            rig.hardware.panel.pedal(down=True)
            return port(b"INPut:IMPedance 333\n")
        return port(line)

    rig.bench.analyzer.dialogue.framing.link._handle = welding
    with pytest.raises(ReleaseNotConfirmed):
        await _run(rig, tmp_path, CURVE)
    assert asked == []


async def test_where_rf_cannot_be_read_nobody_is_sent_to_the_load(
    make_rig: Callable[..., Rig], tmp_path: Path
) -> None:
    rig = make_rig(attended=True)
    asked, refusals = _say(rig), 0
    port, truth = rig.hardware.analyzer_port, rig.hardware.truth

    def refusing_then_silent(line: bytes) -> bytes:
        nonlocal refusals
        verb, _, value = line.partition(b" ")
        if verb == b"INPut:IMPedance" and float(value) == 100 and truth.rf_on_intervals:
            refusals += 1
            return port(b"INPut:IMPedance 333\n")
        return b"" if refusals == 2 and line.startswith(b"OUTPut:STATe?") else port(line)

    rig.bench.analyzer.dialogue.framing.link._handle = refusing_then_silent
    with pytest.raises(LoadNotConnected):
        await _run(rig, tmp_path, CURVE)
    assert asked == []
