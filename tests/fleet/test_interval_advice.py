"""Intervals by a reliability target and by costs, on risks that are known in closed form."""

import numpy as np
import pytest

from ohmwright.fleet.creep_model import FloatArray
from ohmwright.fleet.interval_advice import (
    AllowedIntervals,
    Costs,
    at_least_cost,
    by_reliability,
)

RATES = np.array([0.02, 0.1, 5.0])
START = np.array([1.0, 2.0, 3.0])


def risk(times: FloatArray) -> FloatArray:
    out: FloatArray = -np.expm1(-RATES * (times - START))
    return out


def test_the_interval_ends_where_reliability_has_fallen_to_its_target() -> None:
    advice = by_reliability(risk, START, 0.9, AllowedIntervals(0.25, 3.0))
    assert advice.years == pytest.approx([3.0, -np.log(0.9) / 0.1, 0.25], abs=1e-3)
    assert advice.held.tolist() == [True, False, False]
    assert advice.reliability[1] == pytest.approx(0.9, abs=1e-3)
    assert advice.reliability[2] == pytest.approx(np.exp(-1.25))


def test_the_cheapest_interval_weighs_visits_against_time_out_of_tolerance() -> None:
    # mean cost a year of an exponential life: (visit + out * (I - (1 - exp(-r I)) / r)) / I
    costs = Costs(visit=100.0, year_out=2000.0)
    years = at_least_cost(risk, START, costs, AllowedIntervals(0.1, 3.0))
    grid = np.linspace(0.1, 3.0, 5000)
    for rate, found in zip(RATES, years, strict=True):
        out = grid - -np.expm1(-rate * grid) / rate
        cheapest = grid[np.argmin((costs.visit + costs.year_out * out) / grid)]
        probably_out = np.log(2.0) / rate
        assert found == pytest.approx(min(cheapest, probably_out), abs=0.06)
    free = Costs(visit=0.0, year_out=1.0)
    assert (at_least_cost(risk, START, free, AllowedIntervals(0.1, 3.0)) < 0.2).all()


def test_no_cost_leaves_a_unit_in_use_that_is_probably_out() -> None:
    def of_four(times: FloatArray) -> FloatArray:
        known: FloatArray = np.append(risk(times[:3]), 0.7)  # the last one was left out
        return known

    start = np.append(START, 1.0)
    dear = Costs(visit=1e6, year_out=1.0)
    years = at_least_cost(of_four, start, dear, AllowedIntervals(0.25, 3.0))
    assert years == pytest.approx([3.0, 3.0, np.log(2.0) / 5.0, 0.0], abs=1e-2)
    assert by_reliability(of_four, start, 0.9, AllowedIntervals(0.25, 3.0)).years[3] == 0.0


@pytest.mark.parametrize("target", [0.0, 1.0])
def test_a_reliability_lies_between_nought_and_one(target: float) -> None:
    with pytest.raises(ValueError, match="reliability"):
        by_reliability(risk, START, target)
