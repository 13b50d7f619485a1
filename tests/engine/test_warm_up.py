"""Warming a unit up: a stated time with RF on, or until the output drifts no more."""

from collections.abc import Callable
from itertools import pairwise
from math import exp
from pathlib import Path

import pytest

from ohmwright.engine.capability import refuse_impossible
from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.engine.run_so_far import results
from ohmwright.engine.steps.warm_up import WarmUpStep
from ohmwright.engine.warming import Warming
from ohmwright.estimation.settled_value import Settled
from ohmwright.model.errors import ProcedureError
from ohmwright.model.event import ActivationClosed, ActivationOpened, PointDone
from ohmwright.model.result import Result
from ohmwright.reports.run_remarks import remarks_of_run

pytestmark = pytest.mark.anyio
HEAD = 'title = "t"\nrevision = "1"\nmodel = "Quillon 300"\n'
STEP = '[[step]]\nkind = "warm_up"\nname = "warm"\nmode = "cut"\nsetting_w = 150\nload_ohm = 500\n'
OUTPUT = (
    '[[step]]\nkind = "output"\nname = "{name}"\nmode = "cut"\nsetting_w = 150\nload_ohm = 500\n'
    "power_w = 150\ntolerance = {{ percent = 20 }}\n"
)


@pytest.fixture
def procedure(tmp_path: Path) -> Callable[[str], Path]:
    def write(text: str) -> Path:
        path = tmp_path / "p.toml"
        path.write_text(HEAD + text, encoding="utf-8")
        return path

    return write


def warming_unit(rig, loss: float, tau_s: float) -> None:
    """Let the unit begin with `loss` of its current, which goes as it is warmed by RF."""
    generator, truth = rig.hardware._rig.generator, rig.hardware.truth
    cold_ma = generator.current_ma

    def on_s() -> float:
        return sum(off - on for on, off in truth.rf_on_intervals if off is not None)

    def current_ma(*load: float) -> float:
        return cold_ma(*load) * (1 - loss * exp(-on_s() / tau_s))

    generator.current_ma = current_ma


async def warm(rig, path: Path) -> tuple[Result, list]:
    events = await rig.run(path, ("as_found",))
    return next(results(events)), events


@pytest.mark.parametrize("on_time_s", [10, 50])
async def test_rf_is_on_for_the_time_that_is_asked_for(
    make_rig: Callable, procedure: Callable, on_time_s: float
) -> None:
    rig = make_rig()
    result, events = await warm(rig, procedure(STEP + f"on_time_s = {on_time_s}\n"))
    proofs = 2
    true_s = sum(b - a for a, b in rig.hardware.truth.rf_on_intervals[proofs:])
    assert result.verdict == "pass"
    assert true_s == pytest.approx(max(on_time_s, 10), abs=1.5)
    assert result.on_s == pytest.approx(true_s, abs=0.5)
    assert f"{result.on_s:.0f} s with RF on" in result.reason
    # each is ended after 20 s, and counted until it is read as off
    assert max(e.on_s for e in events if isinstance(e, ActivationClosed)) < 21


@pytest.mark.parametrize(("loss", "fewest"), [(0.0, 3), (0.10, 5), (-0.10, 5)])
async def test_a_unit_is_warm_once_its_output_is_steady(
    make_rig: Callable, procedure: Callable, loss: float, fewest: int
) -> None:
    rig = make_rig()
    warming_unit(rig, loss, tau_s=40.0)
    text = STEP + "tolerance_percent = 5\nlongest_s = 1200\n"
    result, events = await warm(rig, procedure(text))
    assert result.verdict == "pass"
    assert result.measured.quantity == "drift_percent"
    assert result.target.upper == pytest.approx(1.0)
    activations = sum(isinstance(e, ActivationOpened) for e in events) - 2
    assert fewest <= activations <= fewest + 4
    assert result.traceability == "no scale"


async def test_a_unit_that_does_not_settle_is_undecided_after_the_longest_time(
    make_rig: Callable, procedure: Callable
) -> None:
    rig = make_rig()
    warming_unit(rig, 0.35, tau_s=400.0)
    text = STEP + "tolerance_percent = 5\nlongest_s = 240\n"
    result, events = await warm(rig, procedure(text))
    assert result.verdict == "undecided"
    assert result.reason.startswith("still drifting after")
    assert result.measured.value > result.target.upper
    assert events[-1].bench_time_s < 240 + 100


@pytest.mark.parametrize(
    ("sd_ma", "verdict"), [(0.5, ("pass", "pass")), (8.0, (None, "undecided"))]
)
def test_readings_that_scatter_do_not_say_that_a_unit_is_warm(
    sd_ma: float, verdict: tuple[str | None, str]
) -> None:
    step = WarmUpStep(
        kind="warm_up", name="warm", mode="cut", setting_w=150, load_ohm=500, tolerance_percent=5
    )
    same = Settled(540.0, sd_ma, 40.0, 0.0, settled=True)
    warming = Warming(6.0, on_s=60.0, values=[same] * 3)
    found = [step._verdict(warming, took_s) for took_s in (200.0, 901.0)]
    assert tuple(one and one[0] for one in found) == verdict
    assert (sd_ma < 1) == ("not known whether it drifts" not in found[1][1])


async def test_warming_up_keeps_the_rests(make_rig: Callable, procedure: Callable) -> None:
    rig = make_rig()
    await warm(rig, procedure(STEP + "on_time_s = 60\nrest_s = 25\n"))
    intervals = rig.hardware.truth.rf_on_intervals[2:]
    rests = [b[0] - a[1] for a, b in pairwise(intervals)]
    assert min(rests) >= 25


async def test_an_unwarmed_unit_is_told_of_and_a_steady_one_is_not(
    make_rig: Callable, procedure: Callable
) -> None:
    steps = "".join(OUTPUT.format(name=name) for name in ("a", "b", "c"))
    for loss in (0.0, 0.3):
        rig = make_rig()
        warming_unit(rig, loss, tau_s=40.0)
        remarks = remarks_of_run(await rig.run(procedure(steps), ("as_found",)))
        told = [one for one in remarks if "still drifting" in one]
        assert len(told) == (loss > 0)
        assert all("cut, 150 W into 500 Ω: measured 3 times" in one for one in told)


@pytest.mark.parametrize(("kept", "again"), [(1, ["warm", "a", "b"]), (2, ["warm", "b"]), (3, [])])
async def test_a_resumed_run_warms_the_unit_again_before_what_is_left(
    make_rig: Callable, procedure: Callable, kept: int, again: list[str]
) -> None:
    steps = STEP + "on_time_s = 20\n" + OUTPUT.format(name="a") + OUTPUT.format(name="b")
    file, rig, earlier = read_procedure(procedure(steps)), make_rig(), []
    async for event in run(Job(file, ("as_found",), "test"), rig.bench):
        earlier.append(event)
        if sum(isinstance(one, PointDone) for one in earlier) == kept:
            break
    job = Job(file, ("as_found",), "test", tuple(earlier))
    resumed = [event async for event in run(job, rig.bench)]
    assert [result.step for result in results(resumed)] == again


@pytest.mark.parametrize(
    ("keys", "complaint"),
    [
        ("", "exactly one of on_time_s and tolerance_percent"),
        ("on_time_s = 30\ntolerance_percent = 5\n", "exactly one of"),
        ("on_time_s = 901\n", "on_time_s is more than longest_s"),
        ("tolerance_percent = 5\ndrift_share = 0.6\n", "less than or equal to 0.5"),
        ("on_time_s = 30\ndrift_share = 0.3\n", "drift_share has no effect here: leave it out"),
        ('on_time_s = 30\ndecision = { rule = "4:1" }\n', "needs two limits"),
    ],
)
async def test_nonsense_is_refused_when_it_is_read(
    procedure: Callable, keys: str, complaint: str
) -> None:
    with pytest.raises(ProcedureError, match=complaint):
        read_procedure(procedure(STEP + keys))


@pytest.mark.parametrize(
    ("keys", "complaint"),
    [
        ("on_time_s = 600\n", "warming up takes"),
        ("tolerance_percent = 5\nlongest_s = 50\n", "warming up takes 60 s or more"),
        ("on_time_s = 30\nmax_on_s = 400\n", "longer than the load bank's"),
    ],
)
async def test_what_the_bench_cannot_do_is_refused_before_rf(
    make_rig: Callable, procedure: Callable, keys: str, complaint: str
) -> None:
    rig = make_rig()
    with pytest.raises(ProcedureError, match=complaint):
        refuse_impossible(read_procedure(procedure(STEP + keys)), ("as_found",), rig.bench)
