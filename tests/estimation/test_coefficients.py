"""The named coefficients: combinations, trim positions, and priors of them."""

import numpy as np
import pytest

from ohmwright.estimation.coefficients import (
    ALL,
    COUNT,
    DYNAMIC,
    LINEAR,
    TRIM,
    Coefficient,
    combination,
    output_at,
)
from ohmwright.estimation.prior import vague_prior

NAMES = np.array([each.name for each in Coefficient])


def test_groups_hold_what_their_names_say() -> None:
    assert list(NAMES[TRIM]) == ["LEVEL", "GAIN", "COARSE_PRESS", "CURVATURE"]
    assert list(NAMES[LINEAR]) == [*NAMES[TRIM], "DROOP"]
    assert list(NAMES[DYNAMIC]) == ["LOG_LAG", "LOG_DEAD_TIME", "LOG_POLE_RATIO"]
    assert list(NAMES[ALL]) == list(NAMES)


def test_a_combination_is_zero_where_it_names_nothing() -> None:
    vector = combination({Coefficient.GAIN: 2.0, Coefficient.LOG_LAG: -1.0})
    assert vector @ np.arange(COUNT) == 2.0 * Coefficient.GAIN - Coefficient.LOG_LAG
    assert np.count_nonzero(vector) == 2


def test_curvature_is_the_change_of_the_gain_over_100_counts() -> None:
    unit = combination({Coefficient.GAIN: 0.01, Coefficient.CURVATURE: 0.002})
    slopes = [(output_at(n + 0.5, 0) - output_at(n - 0.5, 0)) @ unit for n in (0, 100)]
    assert slopes == pytest.approx([0.01, 0.012])


def test_the_output_at_the_start_is_the_level_and_a_coarse_press_adds_its_own() -> None:
    unit = combination(
        {Coefficient.LEVEL: 0.9, Coefficient.GAIN: 0.01, Coefficient.COARSE_PRESS: 0.003}
    )
    assert output_at(0, 0) @ unit == pytest.approx(0.9)
    assert output_at(20, 2) @ unit == pytest.approx(0.9 + 20 * 0.01 + 2 * 0.003)


def test_a_coefficient_that_is_set_depends_on_no_other() -> None:
    prior = vague_prior()
    mixed = prior.covariance + 1e-6
    prior = type(prior)(prior.mean, mixed).with_coefficient(Coefficient.LEVEL, 0.95, 0.01)
    assert (prior.mean_of(Coefficient.LEVEL), prior.sd_of(Coefficient.LEVEL)) == (0.95, 0.01)
    assert np.count_nonzero(prior.covariance[Coefficient.LEVEL]) == 1
    assert prior.covariance[Coefficient.GAIN, Coefficient.DROOP] == mixed[0, 1]


def test_what_scales_with_the_gain_is_narrowed_and_nothing_else() -> None:
    prior = vague_prior()
    narrow = prior.narrowed_to_gain(0.001, 1.3)
    assert narrow.sd_of(Coefficient.COARSE_PRESS) == pytest.approx(0.0013)
    assert narrow.sd_of(Coefficient.CURVATURE) == pytest.approx(0.00013)
    wide = prior.narrowed_to_gain(1.0, 1.3)
    for coefficient in Coefficient:
        assert wide.sd_of(coefficient) == pytest.approx(prior.sd_of(coefficient))


def test_an_activation_later_no_coefficient_that_may_change_is_surer() -> None:
    prior, later = vague_prior(), vague_prior().loosened()
    for coefficient in Coefficient:
        fixed = coefficient in (Coefficient.GAIN, Coefficient.COARSE_PRESS, Coefficient.CURVATURE)
        assert (later.sd_of(coefficient) > prior.sd_of(coefficient)) is not fixed
