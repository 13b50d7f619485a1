"""What a bench may not decide is told before RF, once a cause and place, and kept on record."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from ohmwright.api.bench_data import read_bench
from ohmwright.engine.foresight import foreseen
from ohmwright.engine.job import Job
from ohmwright.engine.measured_value import Accuracy
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.requirements import Abilities, abilities_of
from ohmwright.engine.run import run
from ohmwright.model.event import ActivationOpened, Event, Foretold, PointDone
from ohmwright.model.shipped import shipped
from ohmwright.model.step import STAGES
from ohmwright.wire.clock import VirtualClock

from .conftest import MeterKind

pytestmark = pytest.mark.anyio
COARSE = MeterKind(readings_per_s=1.0, window_s=2.0, resolution_ma=5.0)
PROCEDURE = """title = "t"
revision = "1"
model = "Quillon 300"

[defaults]
rest_s = 30
max_on_s = 12

[[step]]
kind = "power_curve"
name = "curve"
mode = "cut"
setting_w = 310
loads_ohm = [100, 500, 2000]
power_w = [81.0, 305.6, 156.7]
tolerance = { percent = 2 }

[[step]]
kind = "output"
name = "cut"
mode = "cut"
setting_w = 150
load_ohm = 500
power_w = 150
tolerance = { percent = 10 }
max_on_s = 30

[[step]]
kind = "leakage"
name = "leak"
mode = "cut"
setting_w = 310
limit_ma = 150

[[step]]
kind = "adjust"
name = "adjust"
point = "cut voltage"
load_ohm = 2000
current_ma = 280
tolerance = { absolute_ma = 1.4 }
rest_s = 0
"""


@pytest.fixture
def procedure(tmp_path: Path) -> Path:
    path = tmp_path / "p.toml"
    path.write_text(PROCEDURE, encoding="utf-8")
    return path


def told_of(rig: Any, procedure: Path, *stages: Any) -> list[tuple[str, str, int, str]]:
    """Severity, step, line, and what, without a certificate."""
    file = read_procedure(procedure)
    found = foreseen(file, stages or STAGES, abilities_of(rig.bench), None)
    return [(one.severity, one.step, one.line, one.what) for one in found]


async def test_each_cause_is_told_once_a_place_for_the_worst_point(
    make_rig: Callable[..., Any], procedure: Path
) -> None:
    told = told_of(make_rig(meter=COARSE), procedure)
    lines = PROCEDURE.splitlines()
    assert [(severity, step, lines[line - 1]) for severity, step, line, _ in told] == [
        ("warning", "curve", "max_on_s = 12"),
        ("note", "curve", 'name = "curve"'),
        ("warning", "curve", "tolerance = { percent = 2 }"),
        ("warning", "adjust", "tolerance = { absolute_ma = 1.4 }"),
        ("warning", "adjust", "rest_s = 0"),
    ]
    limit, _, digit, _, _ = (what for *_, what in told)
    assert limit.endswith("19 s would do (2 more like it)")
    assert digit.startswith("2000 ohm: ")
    assert digit.endswith("would do (1 more like it)")


async def test_only_the_stages_that_are_run_are_told_of(
    make_rig: Callable[..., Any], procedure: Path
) -> None:
    rig = make_rig(meter=COARSE)
    assert {step for _, step, *_ in told_of(rig, procedure, "adjust")} == {"adjust"}
    assert "adjust" not in {step for _, step, *_ in told_of(rig, procedure, "as_left")}


async def test_a_count_is_held_against_the_tolerance_where_the_data_state_it(
    make_rig: Callable[..., Any], procedure: Path
) -> None:
    rig = make_rig()
    data = rig.bench.generator.data
    points = tuple(p.model_copy(update={"count_ma": 12.0}) for p in data.service.points)
    service = data.service.model_copy(update={"points": points})
    before = told_of(rig, procedure)
    rig.bench.generator.data = data.model_copy(update={"service": service})
    (new,) = [each for each in told_of(rig, procedure) if each not in before]
    assert new[1] == "adjust"
    assert "a count of the trim moves the current by up to 12 mA" in new[3]


@pytest.mark.parametrize("setting_w", [310, 300])
def test_a_saving_that_nothing_as_left_shows_is_told_where_a_person_saves(
    make_rig: Callable[..., Any], procedure: Path, setting_w: int
) -> None:
    """A unit passed and was out: Save was answered "done" and not pressed, and nothing told it."""
    text = PROCEDURE.replace("setting_w = 310\nloads", f"setting_w = {setting_w}\nloads")
    procedure.write_text(text, encoding="utf-8")
    by_port = abilities_of(make_rig().bench)
    told = {
        has_port: foreseen(
            read_procedure(procedure), STAGES, replace(by_port, has_port=has_port), None
        )
        for has_port in (True, False)
    }
    new = [one for one in told[False] if one not in told[True]]
    assert [(one.severity, one.step) for one in new] == [("note", "adjust")] * (setting_w == 300)
    assert all("cut voltage: that the adjustment is saved will rest" in one.what for one in new)


@pytest.mark.parametrize(
    ("procedure", "bench"), [("demo-monopolar", "demo"), ("attended-marlow", "attended")]
)
def test_the_shipped_benches_decide_the_shipped_procedures(procedure: str, bench: str) -> None:
    data = read_bench(shipped("benches", f"{bench}.toml"))
    abilities = Abilities(data.analyzer, data.generator, has_port=True, attended=True)
    assert data.certificate is not None
    accuracy = Accuracy(data.certificate, VirtualClock().wall().date())
    file = read_procedure(shipped("procedures", f"{procedure}.toml"))
    assert foreseen(file, STAGES, abilities, accuracy) == ()


async def test_a_run_tells_it_before_rf_and_a_resumed_one_not_again(
    make_rig: Callable[..., Any], procedure: Path
) -> None:
    job = Job(read_procedure(procedure), ("as_left",), "test")
    events: list[Event] = []
    stream = run(job, make_rig(meter=COARSE).bench)
    async for event in stream:
        events.append(event)
        if isinstance(event, PointDone):
            break
    await stream.aclose()
    kinds = [type(event) for event in events]
    assert kinds.count(Foretold) == 3
    assert max(i for i, kind in enumerate(kinds) if kind is Foretold) < kinds.index(
        ActivationOpened
    )
    again = Job(job.file, job.stages, "test", tuple(events))
    rest = [event async for event in run(again, make_rig(meter=COARSE).bench)]
    assert not [event for event in rest if isinstance(event, Foretold)]


@pytest.mark.parametrize(
    ("right", "slip", "says"),
    [
        ("[81.0, 305.6, 156.7]", "[81.0, 30.56, 156.7]", "500 ohm: at most 31.17 W pass"),
        ("[81.0, 305.6, 156.7]", "[210, 305.6, 156.7]", "current limit gives about 81 W"),
        ("power_w = 150\n", "power_w = 1500\n", "the setting is 150 W"),
        ("load_ohm = 2000\ncurrent_ma = 280", "load_ohm = 100\ncurrent_ma = 1800", "is 310 W"),
        ("load_ohm = 2000\ncurrent_ma = 280", "load_ohm = 100\ncurrent_ma = 90", "about 81 W are"),
    ],
)
def test_a_power_that_the_generator_data_contradict_is_told(
    make_rig: Callable[..., Any], procedure: Path, right: str, slip: str, says: str
) -> None:
    def powers() -> list[str]:
        return [what for *_, what in told_of(make_rig(), procedure) if "may be wrong" in what]

    assert powers() == []
    assert right in PROCEDURE
    procedure.write_text(PROCEDURE.replace(right, slip), encoding="utf-8")
    (what,) = powers()
    assert says in what


async def test_a_meter_that_may_read_off_too_late_is_told_of_once(
    make_rig: Callable[..., Any], procedure: Path
) -> None:
    """It is no doubt of a meter whose tail ends in time, or of one whose zero is stated."""
    fine = MeterKind(readings_per_s=10.0, window_s=1.2, resolution_ma=0.1)
    rig = make_rig(meter=fine)
    [(severity, step, _, what)] = [one for one in told_of(rig, procedure) if "filter" in one[3]]
    assert (severity, step) == ("note", "curve")
    assert "shows more than 0.3 mA for 4.9 s after OFF has ended 900 mA" in what
    data = rig.bench.analyzer.data
    meter = data.meter.model_copy(update={"zero_ma": 5.0})
    rig.bench.analyzer.data = data.model_copy(update={"meter": meter})
    assert not [one for one in told_of(rig, procedure) if "filter" in one[3]]
    quick = make_rig(meter=MeterKind(readings_per_s=10.0, window_s=0.9, resolution_ma=0.1))
    assert not [one for one in told_of(quick, procedure) if "filter" in one[3]]
    stated = MeterKind(10.0, 0.9, resolution_ma=0.1, averages_by="filter")
    [told] = [one[3] for one in told_of(make_rig(meter=stated), procedure) if "filter" in one[3]]
    assert "averages squares, as true RMS may be formed, it shows more than 0.3 mA for 7.3" in told
