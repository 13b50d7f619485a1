"""Sweeps: every setting into every load, in the order asked for, each point on its own."""

from __future__ import annotations

from collections.abc import Callable
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from ohmwright.engine import rested_activation
from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.engine.run_so_far import results
from ohmwright.engine.steps import sweep
from ohmwright.engine.steps.sweep import NO_LIMITS
from ohmwright.engine.sweep_estimate import SweepEstimate, estimated
from ohmwright.engine.sweep_points import SweepPoints
from ohmwright.instruments.operator import GoBack, SkipStep, StopRun
from ohmwright.instruments.requests import SelectMode
from ohmwright.model.errors import (
    ActivationCutShort,
    InstrumentRefused,
    LinkTimeout,
    OffNotProved,
    ReleaseNotConfirmed,
)
from ohmwright.model.event import ActivationClosed, ActivationOpened, Event, RunFinished
from ohmwright.model.step import Timing
from ohmwright.simulator.operator import SimulatedOperator

from .conftest import MeterKind
from .test_rf import off_is_late

pytestmark = pytest.mark.anyio
SWEEP = """title = "Sweep"
revision = "1"
model = "Quillon 300"

[[step]]
kind = "sweep"
name = "sweep"
stages = ["as_found"]
rest_s = 5
max_on_s = 15
"""


@pytest.fixture
def swept(tmp_path: Path) -> Callable:
    """Events of a sweep on a rig, with the earlier ones of a run that is resumed."""

    async def swept(rig: object, keys: str, earlier: tuple[Event, ...] = ()) -> list[Event]:
        path = tmp_path / "sweep.toml"
        path.write_text(SWEEP + keys, encoding="utf-8")
        job = Job(read_procedure(path), ("as_found",), "test", earlier)
        return [event async for event in run(job, rig.bench)]

    return swept


def names(order: str, **more: object) -> list[tuple[float, float, int]]:
    points = SweepPoints(
        modes={"cut": (50, 100)}, loads_ohm=(100, 200, 300), order=order, **more
    ).points()
    return [point[1:] for point in points]


def test_a_snake_moves_the_load_bank_by_one_resistance_at_a_time() -> None:
    loads = [load for _, load, _ in names("snake")]
    assert loads == [100, 200, 300, 300, 200, 100]


def test_a_random_order_is_the_seed_s_and_each_pass_is_whole() -> None:
    found = names("random", repeats=3)
    assert found == names("random", repeats=3)
    assert found != names("random", repeats=3, order_seed=2)
    passes = [found[at : at + 6] for at in (0, 6, 12)]
    assert [{n for *_, n in one} for one in passes] == [{1}, {2}, {3}]
    assert all(sorted(one) == sorted(set(one)) for one in passes)
    assert len({tuple(key[:2] for key in one) for one in passes}) == 3


def test_a_value_given_twice_or_too_many_points_are_refused_by_their_key() -> None:
    with pytest.raises(ValidationError, match="give repeats to measure it again"):
        SweepPoints(modes={"cut": (50, 50)}, loads_ohm=(100,))
    with pytest.raises(ValidationError, match="a sweep has 5000 at most"):
        SweepPoints(modes={"cut": range(1, 90)}, loads_ohm=range(1, 90))


def test_choices_are_taken_as_the_command_line_spells_them() -> None:
    points = {"modes": {"cut": (50,)}, "loads_ohm": (100,)}
    spelt = SweepPoints(**points, on_fault="go-on", order="as-given")
    assert spelt == SweepPoints(**points, on_fault="go on", order="as given")


async def test_a_digit_too_coarse_for_the_current_is_named(
    make_rig: Callable, swept: Callable
) -> None:
    """By a digit of 10 mA the meter's zero may be 30 mA: 20 mA show no output, and no dead unit."""
    rig = make_rig(meter=MeterKind(10, 0.5, resolution_ma=10))
    (done,) = results(await swept(rig, "modes = { cut = [1] }\nloads_ohm = [2000]"))
    assert done.verdict == "not measured"
    assert "up to 22.4 mA is due, up to 30 mA may be its zero" in done.reason
    attended = make_rig(meter=MeterKind(10, 0.5, resolution_ma=10), attended=True)
    attended.bench.operator.finds = "dead"
    (done,) = results(await swept(attended, "modes = { cut = [1] }\nloads_ohm = [2000]"))
    assert done.verdict == "undecided", "by such a meter nobody can tell"


async def test_power_and_current_agree_with_each_other_and_with_the_truth(
    make_rig: Callable, swept: Callable
) -> None:
    rig = make_rig()
    done = list(results(await swept(rig, "modes = { cut = [150] }\nloads_ohm = [100, 2000]")))
    assert [result.point for result in done] == ["cut 150 W, 100 ohm", "cut 150 W, 2000 ohm"]
    for result in done:
        current, power = result.sweep.current, result.measured
        assert power.value == pytest.approx((current.value / 1000) ** 2 * result.load_ohm, rel=1e-4)
        # P = I² R with lines of their own for R (GUM 5.1.2): u(P)/P is at least 2 u(I)/I
        relative = 2 * current.uncertainty / current.value
        assert relative <= power.uncertainty / power.value < 1.5 * relative
        sources = {line.source for line in power.budget} - {line.source for line in current.budget}
        assert "load resistance" in sources
        assert power.expanded == pytest.approx(power.coverage_factor * power.uncertainty, rel=1e-6)
        assert (result.verdict, result.reason) == ("undecided", NO_LIMITS)
    true_ma = rig.hardware.truth.lag_free_current_ma()
    last = done[-1].sweep.current
    assert abs(last.value - true_ma) < 3 * last.uncertainty


async def test_the_estimate_is_what_it_takes(make_rig: Callable, swept: Callable) -> None:
    keys = "modes = { cut = [300], coag = [40] }\nloads_ohm = [100, 500, 1000]"
    rig = make_rig(attended=True)
    events = await swept(rig, keys)
    points = SweepPoints(modes={"cut": (300,), "coag": (40,)}, loads_ohm=(100, 500, 1000)).points()
    timing = Timing(age_s=6, rest_s=5, max_on_s=15)
    cost = estimated(points, timing, rig.bench.analyzer.data, rig.bench.generator.data)
    finished = events[-1]
    assert cost.bench_s == pytest.approx(finished.bench_time_s, rel=0.1)
    assert cost.rf_s == pytest.approx(finished.on_s, rel=0.1)
    powers = [result.measured.value * result.on_s for result in results(events)]
    assert cost.heat_j == pytest.approx(sum(powers), rel=0.15)


async def test_a_sweep_resumes_at_its_first_point_without_a_result(
    make_rig: Callable, swept: Callable
) -> None:
    keys = 'modes = { cut = [50, 100] }\nloads_ohm = [200, 500]\norder = "random"'
    whole = await swept(make_rig(attended=True), keys)
    second = [i for i, event in enumerate(whole) if event.kind == "point_done"][1]
    rest = await swept(make_rig(attended=True), keys, tuple(whole[: second + 1]))
    assert [r.point for r in results(rest)] == [r.point for r in results(whole)][2:]
    assert isinstance(rest[-1], RunFinished)


@pytest.mark.parametrize("on_fault", ["stop", "go on"])
async def test_a_fault_at_a_point_is_noted_there_or_ends_the_sweep(
    make_rig: Callable, swept: Callable, monkeypatch: pytest.MonkeyPatch, on_fault: str
) -> None:
    rig = make_rig(attended=True)
    fail_at(rig, monkeypatch, {500.0})
    keys = f'modes = {{ cut = [50] }}\nloads_ohm = [200, 500, 1000]\non_fault = "{on_fault}"'
    if on_fault == "stop":
        with pytest.raises(ActivationCutShort):
            await swept(rig, keys)
        assert not rig.hardware.truth.rf_on
        return
    events = await swept(rig, keys)
    first, failed, last = results(events)
    assert (first.measured is None, failed.measured, last.measured is None) == (False, None, False)
    assert (failed.verdict, failed.reason) == ("not measured", "tripped")
    assert isinstance(events[-1], RunFinished)
    opened = [isinstance(e, ActivationOpened) for e in events]
    closed = [isinstance(e, ActivationClosed) for e in events]
    assert (sum(opened), sum(closed)) == (3, 3)
    assert not rig.hardware.truth.rf_on


async def test_a_fault_before_on_counts_no_time_with_rf(
    make_rig: Callable, swept: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    rest, rests = rested_activation.rest, []

    async def silent(*given: Any, **named: Any) -> object:
        rests.append(given)
        if len(rests) == 2:
            raise LinkTimeout("silent")
        return await rest(*given, **named)

    monkeypatch.setattr(rested_activation, "rest", silent)
    keys = 'modes = { cut = [50] }\nloads_ohm = [200, 500]\non_fault = "go on"'
    events = await swept(make_rig(attended=True), keys)
    _, failed = results(events)
    assert (failed.reason, failed.on_s) == ("silent", 0.0)
    assert [event.on_s for event in events if isinstance(event, ActivationClosed)][-1] == 0.0


async def test_three_faults_in_a_row_end_a_sweep_that_was_to_go_on(
    make_rig: Callable, swept: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    rig = make_rig(attended=True)
    fail_at(rig, monkeypatch, {200.0, 500.0, 1000.0})
    keys = 'modes = { cut = [50] }\nloads_ohm = [200, 500, 1000]\non_fault = "go on"'
    with pytest.raises(ActivationCutShort):
        await swept(rig, keys)


async def test_faults_are_counted_in_a_row_alone(
    make_rig: Callable, swept: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    rig = make_rig(attended=True)
    fail_at(rig, monkeypatch, {200.0, 500.0, 2000.0})
    keys = 'modes = { cut = [50] }\nloads_ohm = [200, 500, 1000, 2000]\non_fault = "go on"'
    events = await swept(rig, keys)
    assert [one.measured is None for one in results(events)] == [True, True, False, True]


async def test_a_point_whose_setting_was_refused_has_no_activation(
    make_rig: Callable, swept: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    rig = make_rig(attended=True)
    kind, choices = type(rig.bench.generator), count()
    select = kind.select

    async def refused_at_first(*given: Any) -> None:
        if next(choices) == 0:
            raise InstrumentRefused("no")
        await select(*given)

    monkeypatch.setattr(kind, "select", refused_at_first)
    keys = 'modes = { cut = [50] }\nloads_ohm = [200, 500]\non_fault = "go on"'
    events = await swept(rig, keys)
    assert [one.reason == "no" for one in results(events)] == [True, False]
    kinds = [event for event in events if isinstance(event, ActivationOpened | ActivationClosed)]
    assert [type(event) for event in kinds] == [ActivationOpened, ActivationClosed]


async def test_a_sweep_does_not_go_on_where_rf_cannot_be_read(
    make_rig: Callable, swept: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    rig = make_rig(attended=True)
    fail_at(rig, monkeypatch, {200.0}, then_silent=True)
    keys = 'modes = { cut = [50] }\nloads_ohm = [200, 500]\non_fault = "go on"'
    with pytest.raises(ReleaseNotConfirmed, match=r"MAY STILL BE ON.*could not be read.*tripped"):
        await swept(rig, keys)


def fail_at(
    rig: object, monkeypatch: pytest.MonkeyPatch, loads_ohm: set[float], then_silent: bool = False
) -> None:
    """The analyzer trips at these loads; `then_silent`: and says nothing of RF afterwards."""
    refuse = rested_activation.refuse_cut_short

    async def tripped(analyzer: object, opened: object) -> None:
        await refuse(analyzer, opened)
        if opened._load_ohm in loads_ohm:
            raise ActivationCutShort("tripped.")

    async def silent() -> str | None:
        rig.bench.rf.set_unknown()
        raise LinkTimeout("silent")

    monkeypatch.setattr(rested_activation, "refuse_cut_short", tripped)
    if then_silent:
        ensure = sweep.ensure_off_after

        async def deaf(*given: object) -> Exception:
            rig.bench.rf.set_unknown()
            monkeypatch.setattr(rig.bench.rf, "evidence_on", silent)
            return await ensure(*given)

        monkeypatch.setattr(sweep, "ensure_off_after", deaf)


async def test_a_sweep_that_outlives_faults_does_not_outlive_a_warning(
    make_rig: Callable, swept: Callable
) -> None:
    """A script without an operator gets the error: nobody has said that all are clear."""
    rig = make_rig()
    off_is_late(rig, after=3)  # at the second point
    with pytest.raises(OffNotProved, match="OFF CAME LATE"):
        await swept(rig, 'modes = { cut = [50] }\nloads_ohm = [200, 500, 1000]\non_fault = "go on"')
    assert not rig.hardware.truth.rf_on


@pytest.mark.parametrize(
    ("said", "measured", "left_out"), [("skip", [80, 120], [100]), ("stop", [80], [])]
)
async def test_a_setting_that_is_skipped_is_left_out_and_stop_ends_it(
    make_rig: Callable,
    swept: Callable,
    monkeypatch: pytest.MonkeyPatch,
    said: str,
    measured: list[int],
    left_out: list[int],
) -> None:
    rig = make_rig(bench="attended", attended=True)
    asked: list[object] = []
    carry_out = SimulatedOperator.carry_out

    async def answer(self: SimulatedOperator, request: object) -> str:
        asked.append(request)
        if request == SelectMode("cut", 100):
            if asked.count(request) == 1:
                raise GoBack
            raise SkipStep("too hot") if said == "skip" else StopRun
        return await carry_out(self, request)

    monkeypatch.setattr(SimulatedOperator, "carry_out", answer)
    keys = "modes = { cut = [80, 100, 120] }\nloads_ohm = [300, 500]"
    monkeypatch.setitem(globals(), "SWEEP", SWEEP.replace("Quillon 300", "Marlow 150"))
    done = list(results(await swept(rig, keys)))
    assert sorted({r.setting_w for r in done if r.measured is not None}) == measured
    assert sorted({r.setting_w for r in done if r.reason == "too hot"}) == left_out
    assert asked.count(SelectMode("cut", 100)) == 2


def test_the_time_left_goes_by_the_pace_so_far() -> None:
    assert SweepEstimate((10.0, 30.0), 12.0, 400.0).mean_w == 10.0
    assert SweepEstimate((10.0, 30.0), 12.0, 400.0).left_s(1, 20.0) == 60.0


async def test_a_point_of_a_setting_skipped_before_has_no_time_with_rf_on(
    make_rig: Callable, swept: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    rig = make_rig(bench="attended", attended=True)
    carry_out = SimulatedOperator.carry_out

    async def answer(self: SimulatedOperator, request: object) -> str:
        if request == SelectMode("cut", 100):
            raise SkipStep("too hot")
        return await carry_out(self, request)

    monkeypatch.setattr(SimulatedOperator, "carry_out", answer)
    monkeypatch.setitem(globals(), "SWEEP", SWEEP.replace("Quillon 300", "Marlow 150"))
    keys = "modes = { cut = [80, 100] }\nloads_ohm = [300, 500]\nrepeats = 2"
    done = list(results(await swept(rig, keys)))
    assert [r.on_s for r in done if r.setting_w == 100] == [0.0] * 4
