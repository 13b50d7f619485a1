"""A value that its readings do not give is told; what is not computed again is counted."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise
from typing import Any, Literal

import anyio
import numpy as np
import pytest
from scipy.integrate import solve_ivp

from ohmwright.engine import recomputed_values
from ohmwright.engine.measured_value import EXTRAPOLATED, READINGS
from ohmwright.engine.recomputed_values import (
    BesideReadings,
    _difference,
    again_settled,
    differing,
    recomputable,
)
from ohmwright.engine.resting import OutputWarmth
from ohmwright.engine.warmth_on_record import warmth_on_record
from ohmwright.estimation.settled_value import Settled
from ohmwright.estimation.thermal_droop import ResidualWarmth
from ohmwright.model.event import (
    ActivationClosed,
    DocumentKept,
    Event,
    PointDone,
    RunStarted,
)
from ohmwright.model.quantity import Quantity
from ohmwright.model.result import BudgetEntry, Measured, Result, Sample
from ohmwright.model.shipped import shipped

from .conftest import MeterKind, Rig
from .test_evidence import HEAD


@pytest.fixture
def job(whole_job: tuple[Rig, tuple[Event, ...]]) -> Sequence[Event]:
    return whole_job[1]


def differing_values(events: Sequence[Event]) -> list[tuple[int, str]]:
    return differing(recomputable(events)[0])


def why_not(events: Sequence[Event]) -> Counter[str]:
    """Why values are not computed once more; under an empty reason those that are."""
    values, reasons = recomputable(events)
    return Counter({"": len(values)}) + Counter(one.why for one in reasons)


def with_result(
    events: Sequence[Event], change: Callable[[Result], dict[str, Any]], kind: str = "power_curve"
) -> tuple[list[Event], str]:
    """The events with the last computed point changed, and that point's name."""
    at, done = [
        (at, e)
        for at, e in enumerate(events)
        if isinstance(e, PointDone) and e.result.kind == kind and e.result.samples
    ][-1]
    changed = done.result.model_copy(update=change(done.result))
    whole = list(events)
    whole[at] = done.model_copy(update={"result": changed})
    return whole, f"{changed.step}, {changed.point}: its value is"


def off_by(share: float) -> Callable[[Result], dict[str, Any]]:
    def change(result: Result) -> dict[str, Any]:
        assert result.measured is not None
        value = result.measured.value * (1 + share)
        return {"measured": result.measured.model_copy(update={"value": value})}

    return change


def test_the_values_of_a_job_are_those_of_its_readings(job: Sequence[Event]) -> None:
    assert differing_values(job) == []
    assert why_not(job)[""] >= 4


def test_a_value_is_computed_again_with_the_warmth_that_the_run_took(
    make_rig: Callable[..., Rig], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would notice RF counted until it was first read as off, not until the release was confirmed.

    Readings that allow of two values tell the one with the one warmth, and the other with another.
    """
    took = list[ResidualWarmth]()

    def noted(self: OutputWarmth, now_s: float, age_s: float) -> ResidualWarmth:
        took.append(warmth_of(self, now_s, age_s))
        return took[-1]

    warmth_of = OutputWarmth.residual_warmth
    monkeypatch.setattr(OutputWarmth, "residual_warmth", noted)
    rig = make_rig(meter=MeterKind(4.0, 1.0))
    procedure = shipped("procedures", "demo-monopolar.toml")
    events = anyio.run(rig.run, procedure, ("as_found",))
    again = [beside.warmth.heat for _, _, beside in recomputable(events)[0] if beside.warmth]
    heats = np.array([one.heat for one in took])
    assert len(again) >= 4
    assert max(np.abs(heats - heat).min() for heat in again) < 1e-3


@pytest.mark.parametrize("share", [0.02, -0.02])
def test_a_value_two_percent_off_its_readings_is_told(job: Sequence[Event], share: float) -> None:
    """2 % of a power is 1 % of a current; from memory of budgets, U of such a power is 1 to 2 %."""
    forged, named = with_result(job, off_by(share))
    ((_, said),) = differing_values(forged)
    assert named in said


def test_readings_that_were_moved_are_told(job: Sequence[Event]) -> None:
    def moved(result: Result) -> dict[str, Any]:
        samples = tuple(Sample(s.age_s, 1.01 * s.current_ma) for s in result.samples)
        return {"samples": samples}

    forged, named = with_result(job, moved)
    ((_, said),) = differing_values(forged)
    assert named in said


def test_why_values_are_not_computed_again_is_counted(job: Sequence[Event]) -> None:
    before = why_not(job)
    bare, _ = with_result(job, lambda _: {"samples": ()})
    assert why_not(bare)["no readings on record"] == 1
    pooled, _ = with_result(job, lambda result: {"on_s": 2 * result.on_s + 5})
    assert [why for why in why_not(pooled) - before if "several activations" in why]
    both, _ = with_result(job, lambda result: {"earlier_samples": result.samples})
    assert why_not(both)["which of its activations were pooled is not on record"] == 1
    undocumented = [e for e in job if not isinstance(e, DocumentKept)]
    assert why_not(undocumented)["no data of the meter on record"] == before[""]
    undated = [
        e.model_copy(update={"on_at_bench_s": None}) if isinstance(e, ActivationClosed) else e
        for e in job
    ]
    assert why_not(undated)["when RF was on before is not on record"] == before[""]


@pytest.fixture(scope="module")
def pooled_point(
    make_rig: Callable[..., Rig], tmp_path_factory: pytest.TempPathFactory
) -> Sequence[Event]:
    """A run of one point near its limit, whose value is that of two activations."""
    path = tmp_path_factory.mktemp("pooled") / "p.toml"

    def run(target_w: float, off_w: float) -> tuple[Sequence[Event], Result]:
        step = '\n[[step]]\nkind = "output"\nname = "it"\nmode = "cut"\nsetting_w = 100\n'
        step += f"load_ohm = 500\npower_w = {target_w}\ntolerance = {{ absolute_w = {off_w} }}\n"
        path.write_text(HEAD + step, encoding="utf-8")
        events = tuple(anyio.run(make_rig(seed=5).run, path, ("as_left",)))
        return events, next(e.result for e in events if isinstance(e, PointDone))

    _, seen = run(100.0, 30.0)
    assert seen.measured is not None
    events, seen = run(seen.measured.value - 9.2, 10.0)
    assert seen.earlier_samples
    return events


def test_a_value_of_two_activations_is_computed_again_of_both(
    pooled_point: Sequence[Event],
) -> None:
    """Each by the warmth it began with: by that of the other one it is 0.2 u off."""
    assert why_not(pooled_point) == {"": 1}
    assert differing_values(pooled_point) == []
    ((_, result, evidence),) = recomputable(pooled_point)[0]
    again = again_settled(result, evidence)
    assert again is not None
    assert result.measured is not None
    value_ma = 1000 * (result.measured.value / 500) ** 0.5
    assert abs(value_ma - again.value) < 0.02 * again.uncertainty


def test_a_value_that_only_its_readings_one_by_one_give_is_whole(
    job: Sequence[Event], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The search for the best fit may end elsewhere by all of them at once."""

    def elsewhere(result: Result, beside: BesideReadings, **how: bool) -> Settled | None:
        found = again_settled(result, beside, **how)
        assert found is not None
        return found if how else replace(found, uncertainty=9 * found.uncertainty)

    monkeypatch.setattr(recomputed_values, "again_settled", elsewhere)
    assert differing_values(job) == []


@pytest.mark.parametrize("share", [0.02, -0.02])
def test_a_value_of_two_activations_that_its_readings_do_not_give_is_told(
    pooled_point: Sequence[Event], share: float
) -> None:
    def moved(key: str) -> Callable[[Result], dict[str, Any]]:
        return lambda result: {
            key: tuple(Sample(s.age_s, (1 + share) * s.current_ma) for s in getattr(result, key))
        }

    for change in (off_by(share), moved("samples"), moved("earlier_samples")):
        forged, named = with_result(pooled_point, change, kind="output")
        ((_, said),) = differing_values(forged)
        assert named in said


def test_of_three_activations_it_is_not_known_which_were_pooled(
    pooled_point: Sequence[Event],
) -> None:
    last = max(n for n, e in enumerate(pooled_point) if isinstance(e, ActivationClosed))
    with_another = [*pooled_point[: last + 1], *pooled_point[last:]]
    assert why_not(with_another) == {"which of its activations were pooled is not on record": 1}


def test_a_value_by_another_version_is_not_held_against_this_one(job: Sequence[Event]) -> None:
    """Its estimator may rightly have made another value of the same readings."""
    forged, _ = with_result(job, off_by(0.02))
    older = [
        e.model_copy(update={"software": "ohmwright 0.0.1"}) if isinstance(e, RunStarted) else e
        for e in forged
    ]
    assert differing_values(older) == []
    assert why_not(older)["by another version, ohmwright 0.0.1"] >= 4


@pytest.mark.parametrize("kind", ["adjust", "monotonicity"])
def test_adjustments_and_controls_are_computed_again(job: Sequence[Event], kind: str) -> None:
    forged, _ = with_result(job, off_by(0.03), kind)
    ((_, said),) = differing_values(forged)
    assert "its value is" in said
    computed = {result.kind for _, result, _ in recomputable(job)[0]}
    assert kind in computed
    assert set(why_not(job)) <= {"", "not a current or power by the estimators kept here"}


def test_an_adjustment_is_computed_with_the_warmth_that_it_was_made_with(
    make_rig: Callable[..., Rig],
) -> None:
    """No droop is stated of this unit: adjusting takes a typical one's."""
    rig = make_rig(seed=2, bench="attended", attended=True)
    events = anyio.run(rig.run, shipped("procedures", "attended-marlow.toml"))
    assert differing_values(events) == []
    values = [one for one in recomputable(events)[0] if one[1].kind == "adjust"]
    assert len(values) >= 3
    for _, result, evidence in values:
        again = again_settled(result, evidence)
        assert again is not None
        assert result.measured is not None
        assert abs(result.measured.value - again.value) < 0.25 * again.uncertainty


FLOWED_S = ((100.0, 12.0), (145.0, 7.0), (165.0, 9.0))
"""When RF came on, and for how long: a value came of the last of these activations."""


def warmth_at_the_last(tau_s: float, recovery_tau_s: float) -> float:
    """Warmth, 0 to 1, as the last activation began: the differential equation, by scipy."""
    warmth = 0.0
    for (on_at_s, on_s), (next_s, _) in pairwise(FLOWED_S):
        warmth = lagged(warmth, 1.0, on_s, tau_s)
        warmth = lagged(warmth, 0.0, next_s - (on_at_s + on_s), recovery_tau_s)
    return warmth


def lagged(begin: float, towards: float, length_s: float, tau_s: float) -> float:
    solved = solve_ivp(
        lambda _, at: (towards - at) / tau_s, (0.0, length_s), [begin], rtol=1e-10, atol=1e-12
    )
    return float(solved.y[0, -1])


def activations() -> list[ActivationClosed]:
    """Those of `FLOWED_S`, and one between them in which RF never came on."""
    now = {"at": datetime(2026, 1, 1, tzinfo=UTC), "bench_s": 0.0}
    closed = [
        ActivationClosed(**now, on_s=on_s, on_at_bench_s=on_at_s) for on_at_s, on_s in FLOWED_S
    ]
    return [*closed[:1], ActivationClosed(**now, on_s=0.0), *closed[1:]]


def point_of(kind: str, again: Literal["checked", "adjusted"] | None = None) -> Result:
    return Result(stage="as_left", step="s", point="", kind=kind, verdict="pass", again=again)


@pytest.mark.parametrize("kind", ["output", "adjust"])
def test_the_warmth_of_a_unit_whose_droop_is_stated_is_that_of_its_times_with_rf_on(
    kind: str,
) -> None:
    """Would notice the last activation counted in, and a rest counted from ON instead of OFF."""
    droop = {"largest": 0.04, "tau_s": [6.0, 10.0], "recovery_tau_s": [10.0, 20.0]}
    warmth = warmth_on_record(activations(), {"droop": droop}, point_of(kind), 6.0)
    assert warmth is not None
    likely = warmth_at_the_last(8.0, 15.0)
    felt = likely * np.exp(-6 / 8)
    above = warmth_at_the_last(6.0, 20.0) * np.exp(-6 / 10) - felt
    below = felt - warmth_at_the_last(10.0, 10.0) * np.exp(-6 / 6)
    assert warmth.heat == pytest.approx(likely, rel=1e-6)
    assert warmth.uncertainty == pytest.approx(0.04 * max(above, below) / 3**0.5, rel=1e-6)
    assert warmth.largest_droop == 0.04


@pytest.mark.parametrize(
    ("kind", "again", "takes_typical"),
    [
        ("adjust", None, True),
        ("adjust", "adjusted", True),
        ("adjust", "checked", False),
        ("output", None, False),
        ("monotonicity", None, False),
    ],
)
def test_where_no_droop_is_stated_adjusting_alone_takes_a_typical_units_warmth(
    kind: str, again: Literal["checked", "adjusted"] | None, takes_typical: bool
) -> None:
    warmth = warmth_on_record(activations(), {}, point_of(kind, again), 6.0)
    expected = warmth_at_the_last(8.0, 15.0) if takes_typical else 0.0
    assert warmth == ResidualWarmth(pytest.approx(expected, rel=1e-6))


def test_the_first_activation_finds_a_unit_rested() -> None:
    assert warmth_on_record(activations()[:1], {}, point_of("adjust"), 6.0) == ResidualWarmth(0.0)


AGAIN = Settled(500.0, 4.0, 20.0, 0.0, True)
"""What the readings make of a value: 500 mA, with a standard uncertainty of 4 mA."""
LOAD_OHM = 200.0


def stated(quantity: Quantity, current_ma: float, u_ma: float, on_s: float) -> Result:
    """A value on record whose readings have this uncertainty, in two lines, beside another's."""
    value, per_ma = current_ma, 1.0
    if quantity == "power_w":  # R times I squared, and its slope
        value, per_ma = LOAD_OHM * (current_ma / 1000) ** 2, 2 * LOAD_OHM * current_ma / 1e6
    lines = [(READINGS, 0.6 * u_ma), (EXTRAPOLATED, 0.8 * u_ma), ("meter", 50.0)]
    budget = tuple(
        BudgetEntry(source=source, evaluation="B", standard_uncertainty=per_ma * u)
        for source, u in lines
    )
    measured = Measured(
        quantity=quantity, value=value, uncertainty=9.0, dof=20.0, age_s=6.0, budget=budget
    )
    return point_of("adjust").model_copy(
        update={
            "measured": measured,
            "load_ohm": LOAD_OHM,
            "samples": (Sample(8.0, current_ma),),
            "on_s": on_s,
        }
    )


@pytest.mark.parametrize("quantity", ["current_ma", "power_w"])
@pytest.mark.parametrize(
    ("on_s", "off_ma", "least_ma"),
    [
        # half of u and a thousandth of the value may lie between; at least 70 % of u is stated
        (9.9, 2.5, 2.8),
        # readings of other activations count, too: one and a half of u, at least half of it
        (10.1, 6.5, 2.0),
    ],
)
def test_a_value_is_told_from_where_its_readings_cannot_give_it(
    quantity: Quantity, on_s: float, off_ma: float, least_ma: float
) -> None:
    for sign in (1, -1):
        near = stated(quantity, 500 + sign * 0.98 * off_ma, 4.0, on_s)
        far = stated(quantity, 500 + sign * 1.02 * off_ma, 4.0, on_s)
        assert _difference(AGAIN, near) == ""
        assert "its value is" in _difference(AGAIN, far)
    surer = stated(quantity, 500.0, 0.98 * least_ma, on_s)
    assert _difference(AGAIN, stated(quantity, 500.0, 1.02 * least_ma, on_s)) == ""
    assert f"{0.98 * least_ma:.2g} mA in its budget" in _difference(AGAIN, surer)


SWEEP = """title = "Sweep"
revision = "1"
model = "Quillon 300"

[[step]]
kind = "sweep"
name = "sweep"
modes = { cut = [50, 300] }
loads_ohm = [100, 2000]
rest_s = 5
max_on_s = 15
"""


@pytest.fixture(scope="module")
def sweep(
    make_rig: Callable[..., Rig], tmp_path_factory: pytest.TempPathFactory
) -> Sequence[Event]:
    path = tmp_path_factory.mktemp("sweep") / "sweep.toml"
    path.write_text(SWEEP, encoding="utf-8")
    return tuple(anyio.run(make_rig().run, path, ("as_found",)))


def test_the_values_of_a_sweep_are_those_of_its_readings(sweep: Sequence[Event]) -> None:
    assert differing_values(sweep) == []
    assert why_not(sweep) == {"": 4}


@pytest.mark.parametrize("share", [0.02, -0.02])
@pytest.mark.parametrize("quantity", ["power_w", "current_ma"])
def test_a_power_or_current_of_a_sweep_that_its_readings_do_not_give_is_told(
    sweep: Sequence[Event], quantity: str, share: float
) -> None:
    def change(result: Result) -> dict[str, Any]:
        assert result.sweep is not None
        measured = result.measured if quantity == "power_w" else result.sweep.current
        assert measured is not None
        forged = measured.model_copy(update={"value": measured.value * (1 + share)})
        if quantity == "power_w":
            return {"measured": forged}
        return {"sweep": result.sweep.model_copy(update={"current": forged})}

    forged, named = with_result(sweep, change, kind="sweep")
    ((_, said),) = differing_values(forged)
    assert named in said
