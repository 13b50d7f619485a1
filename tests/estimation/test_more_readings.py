"""Whether more readings can still tell a value from its limit."""

import numpy as np
import pytest

from ohmwright.estimation.activation_record import Prospect, chance_to_decide, is_in_vain


@pytest.mark.parametrize("narrower", [0.3, 0.5, 0.7])
@pytest.mark.parametrize("distance", [0.0, 0.6, 1.2, 2.0])
def test_the_chance_is_that_of_drawn_values(distance: float, narrower: float) -> None:
    """Against draws by numpy: a true value by what is known, then a better estimate of it.

    That estimate is the mean of what is known now and of new readings, weighted by certainty.
    """
    rng = np.random.default_rng(8)
    true = distance + rng.normal(size=200_000)
    new_sd = 1 / np.sqrt(1 / narrower**2 - 1)
    new = true + new_sd * rng.normal(size=true.size)
    better = (distance + new / new_sd**2) / (1 + 1 / new_sd**2)
    decided = np.mean(np.abs(better) > 1.6449 * narrower)  # 95 % on one side
    assert chance_to_decide(distance, narrower) == pytest.approx(decided, abs=0.004)


@pytest.mark.parametrize(
    ("distance", "sd", "expected"),
    [(0.0, 0.1, True), (0.05, 0.1, True), (0.1, 0.1, False), (0.3, 0.1, False), (0.0, 0.2, False)],
)
def test_another_value_is_in_vain_at_the_limit_where_this_one_is_well_known(
    distance: float, sd: float, expected: bool
) -> None:
    assert is_in_vain(distance, sd) is expected


def looked(fall: float, until_s: float = 20.0, distance: float = 0.03) -> float | None:
    """When it is given up that has a standard deviation of 0.1 at 10 s; None where never."""
    prospect = Prospect(until_s)
    for age_s in np.arange(5.0, until_s, 0.5):
        if prospect.is_in_vain(float(age_s), distance, float(0.1 * (10 / age_s) ** fall)):
            return float(age_s)
    return None


def test_readings_are_waited_for_that_make_a_value_much_surer() -> None:
    still = looked(0.0)
    assert still is not None
    assert 6.0 < still < 14.0
    assert looked(1.4) is None


def test_more_time_is_more_hope() -> None:
    early, late = looked(0.0), looked(0.0, until_s=60.0)
    assert early is not None
    assert late is not None
    assert late > 2 * early


def test_a_value_away_from_its_limit_is_not_given_up() -> None:
    assert looked(0.0, distance=0.15) is None


def test_a_first_look_foretells_nothing() -> None:
    assert not Prospect(20.0).is_in_vain(19.0, 0.0, 0.05)
