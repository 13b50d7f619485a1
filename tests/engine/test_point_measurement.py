"""A verdict that scatter leaves undecided: one activation more, and both values pooled."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ohmwright.engine import point_measurement
from ohmwright.engine.point_measurement import Observation, is_worth_repeating, observation_of
from ohmwright.engine.stop_rules import UntilDecided
from ohmwright.estimation.activation_record import Prospect
from ohmwright.estimation.settled_value import Settled, pooled
from ohmwright.model.event import PointDone
from ohmwright.model.result import Result
from ohmwright.model.step import Point, Timing
from ohmwright.model.tolerance import Allowance, target_of

from .test_evidence import HEAD

pytestmark = pytest.mark.anyio


async def measured(
    make_rig: Callable, folder: Path, target_w: float, off_w: float
) -> tuple[Result, int]:
    path = folder / "p.toml"
    step = '\n[[step]]\nkind = "output"\nname = "it"\nmode = "cut"\nsetting_w = 100\n'
    step += f"load_ohm = 500\npower_w = {target_w}\ntolerance = {{ absolute_w = {off_w} }}\n"
    path.write_text(HEAD + step, encoding="utf-8")
    rig = make_rig(seed=5)
    (done,) = [e for e in await rig.run(path, ("as_left",)) if isinstance(e, PointDone)]
    return done.result, len(rig.hardware.truth.rf_on_intervals)


async def test_a_value_near_its_limit_is_measured_twice_and_a_clear_one_once(
    make_rig: Callable, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    both = list[tuple[Settled, Settled]]()

    def kept(first: Settled, second: Settled) -> Settled:
        both.append((first, second))
        return pooled(first, second)

    prospects = list[Prospect | None]()

    def rule(*given: Any, prospect: Prospect | None = None) -> UntilDecided:
        prospects.append(prospect)
        return UntilDecided(*given, prospect=prospect)

    monkeypatch.setattr(point_measurement, "pooled", kept)
    monkeypatch.setattr(point_measurement, "UntilDecided", rule)
    clear, once = await measured(make_rig, tmp_path, 100.0, 30.0)
    target_w = clear.measured.value - 9.2  # a standard uncertainty from its upper limit
    near, twice = await measured(make_rig, tmp_path, target_w, 10.0)
    assert twice == once + 1
    assert clear.on_s < 15 < 25 < near.on_s
    ((first, second),) = both
    assert first.value != second.value
    pooled_w = (pooled(first, second).value / 1000) ** 2 * 500
    assert near.measured.value == pytest.approx(pooled_w, rel=1e-3)
    assert clear.earlier_samples == ()
    assert 10 < near.earlier_samples[-1].age_s < near.on_s - near.samples[-1].age_s + 1
    assert near.earlier_samples != near.samples
    # the second one is pooled with the first: what it says alone gives nothing up
    assert [prospect is None for prospect in prospects] == [False, False, True]


async def test_no_rf_is_spent_on_a_value_that_more_readings_would_not_decide(
    make_rig: Callable, tmp_path: Path
) -> None:
    """Notices a value at its limit that is looked at for all of the time, and once more."""
    clear, once = await measured(make_rig, tmp_path, 100.0, 30.0)
    value_w = clear.measured.value + 1.4  # as it is known once it is looked at for longer
    at_limit, as_often = await measured(make_rig, tmp_path, value_w - 10.0, 10.0)
    assert (at_limit.verdict, as_often) == ("undecided", once)
    assert "too close to a limit" in at_limit.reason
    assert 6.0 < at_limit.on_s < 15.0


POINT = Point(
    name="p",
    load_ohm=300.0,
    target=target_of("current_ma", 500.0, Allowance(absolute_ma=10.0)),
)


def observed(value_ma: float, settled: bool = True) -> Observation:
    known = Settled(value_ma, 2.0, 30.0, 0.0, settled, "" if settled else "still rising")
    return observation_of(None, known, POINT, Timing(), 10.0, ())


@pytest.mark.parametrize(
    ("value_ma", "settled", "expected"),
    [
        (500.0, True, (False, "pass")),
        (509.0, True, (True, "undecided")),
        (530.0, True, (False, "fail")),
        (509.0, False, (False, "undecided")),  # the limit of the time, not scatter
        (500.0, False, (False, "undecided")),
        (530.0, False, (False, "undecided")),
    ],
)
def test_only_scatter_is_worth_another_activation(
    value_ma: float, settled: bool, expected: tuple[bool, str]
) -> None:
    seen = observed(value_ma, settled)
    assert (is_worth_repeating(seen, POINT), seen.verdict) == expected
    assert ("still rising" in seen.reason) is not settled


def test_a_verdict_that_rests_on_more_than_readings_keeps_no_value_that_speaks_against_it() -> None:
    seen = observed(500.0)
    assert seen.with_verdict(("pass", "told so")).measured == seen.measured
    failed = seen.with_verdict(("fail", "no output"))
    assert (failed.verdict, failed.reason, failed.measured) == ("fail", "no output", None)
