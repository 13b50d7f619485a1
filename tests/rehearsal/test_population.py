"""Units like those on record: ranges with the mean and the scatter that the records show."""

from datetime import UTC, datetime

import numpy as np
import pytest

from ohmwright.model.errors import UsageError
from ohmwright.model.event import CurveDiagnosed, Event, PointDone, PointLearned, SenseGain
from ohmwright.model.result import Result
from ohmwright.model.shipped import shipped
from ohmwright.model.source import load
from ohmwright.model.tolerance import Allowance, target_of
from ohmwright.rehearsal.population import like_fleet
from ohmwright.simulator.profile import GeneratorProfile

PROFILE = load(shipped("generators", "quillon-300.toml"), GeneratorProfile)
AT = {"at": datetime(2026, 1, 5, tzinfo=UTC), "bench_s": 0.0}


def run_on(gain: float, lag_s: float, per_count: float) -> list[Event]:
    target = target_of("current_ma", 800.0, Allowance(percent=1))
    return [
        CurveDiagnosed(
            **AT,
            mode="cut",
            gains=(SenseGain(sense="current", gain=gain, uncertainty=0.001, drifted=0.5),),
            culprit=None,
            misfit=1.0,
            first_moves=(),
        ),
        PointDone(
            **AT,
            result=Result(
                stage="adjust",
                step="adjust",
                point="cut current",
                kind="adjust",
                verdict="pass",
                target=target,
            ),
        ),
        PointLearned(
            **AT,
            point="cut current",
            gain_per_count=per_count,
            lag_s=lag_s,
            dead_s=0.5,
            hunting=0.25,
        ),
    ]


def test_ranges_have_the_mean_and_scatter_of_the_records():
    gains, lags_s = (0.95, 0.96, 0.97, 0.98), (0.6, 0.8, 1.0, 1.2)
    units = [[run_on(g, lag_s, -0.002)] for g, lag_s in zip(gains, lags_s, strict=True)]
    found = like_fleet(PROFILE, units).physics
    low, high = found.response.lag_s
    assert 0.5 * (low + high) == pytest.approx(0.9)
    assert (high - low) / 12**0.5 == pytest.approx(np.std(lags_s, ddof=1))
    low, high = found.ageing.current.start
    assert 0.5 * (low + high) == pytest.approx(np.mean(np.log(gains)))
    variance = np.var(np.log(gains), ddof=1) - np.mean((0.001 / np.array(gains)) ** 2)
    assert (high - low) ** 2 / 12 == pytest.approx(variance)
    assert found.ageing.current.creep_per_month == (0.0, 0.0)  # it is in what was found
    assert found.ageing.voltage == PROFILE.physics.ageing.voltage  # of which nothing is known
    assert found.response.hunting_share == pytest.approx(0.25)
    point = next(p for p in found.points if p.name == "cut current")
    assert point.ma_per_count == pytest.approx((1.6, 1.6))  # 0.2 % of 800 mA


def test_too_few_records_are_refused():
    with pytest.raises(UsageError, match="too little of Quillon 300"):
        like_fleet(PROFILE, [[run_on(1.0, 1.0, 0.001)]] * 2)


def test_many_runs_of_one_unit_are_one_unit():
    with pytest.raises(UsageError, match="too little of Quillon 300"):
        like_fleet(PROFILE, [[run_on(1.0, 1.0, 0.001)] * 9])
    twice = [[run_on(g, 1.0, 0.001), run_on(g + 0.02, 1.0, 0.001)] for g in (0.9, 0.92, 0.94)]
    low, high = like_fleet(PROFILE, twice).physics.ageing.current.start
    assert (high - low) / 12**0.5 == pytest.approx(0.0213, abs=1e-3)  # that of 0.91, 0.93, 0.95


def test_two_units_that_hunt_do_not_make_a_fleet_hunt():
    gains = ((0.95, 1.0), (0.96, 1.1), (0.97, 1.2))
    units = [[run_on(gain, lag_s, 0.001)[:1]] for gain, lag_s in gains]
    units[0] = [run_on(0.95, 1.0, 0.001)]
    found = like_fleet(PROFILE, units).physics.response
    assert found.hunting_share == PROFILE.physics.response.hunting_share
    assert found.lag_s == PROFILE.physics.response.lag_s
