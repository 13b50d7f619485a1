"""The named coefficients: combinations, trim positions, and priors of them."""

import numpy as np
import pytest
from scipy.stats import cauchy

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
from ohmwright.estimation.prior import TransientPrior, vague_prior
from ohmwright.estimation.transient_problem import precision_near, window_explained_s

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


def test_where_the_gain_is_another_all_that_scales_with_it_is_so_many_times_as_large() -> None:
    """Outputs far from the start differ from that there by three times as much, for sure or not."""
    rng = np.random.default_rng(4)
    root, at = rng.normal(size=(COUNT, COUNT)), combination({Coefficient.LEVEL: 1.0})
    prior = TransientPrior(rng.normal(size=COUNT), root @ root.T)
    scaled = prior.with_gain_times(3.0)
    for counts, coarse in ((30, 0), (-20, 4)):
        away = output_at(counts, coarse) - at
        assert away @ scaled.mean == pytest.approx(3 * away @ prior.mean)
        assert away @ scaled.covariance @ away == pytest.approx(9 * away @ prior.covariance @ away)
        assert at @ scaled.covariance @ away == pytest.approx(3 * at @ prior.covariance @ away)
    assert at @ scaled.mean == at @ prior.mean


def test_an_activation_later_no_coefficient_that_may_change_is_surer() -> None:
    prior, later = vague_prior(), vague_prior().loosened(0.0)
    for coefficient in Coefficient:
        fixed = coefficient in (Coefficient.GAIN, Coefficient.COARSE_PRESS, Coefficient.CURVATURE)
        assert (later.sd_of(coefficient) > prior.sd_of(coefficient)) is not fixed


def test_the_usual_droop_is_pulled_less_the_more_of_it_is_seen() -> None:
    """The slope of a Cauchy distribution's log density, by scipy, above the middle."""
    prior, at = vague_prior(), Coefficient.DROOP
    law = cauchy(prior.mean_of(at), prior.sd_of(at))
    for droop in (0.01, 0.02, 0.05):
        pull = precision_near(prior, droop)[at, at] * (droop - prior.mean_of(at))
        slope = (law.logpdf(droop + 1e-7) - law.logpdf(droop - 1e-7)) / 2e-7
        assert pull == pytest.approx(-slope, rel=1e-4)
    none = precision_near(prior, -0.05)[at, at]
    assert none == precision_near(prior, prior.mean_of(at))[at, at]  # a rise is no droop


def test_a_stated_droop_is_about_as_likely_anywhere_up_to_it() -> None:
    prior, at = vague_prior(largest_droop=0.05), Coefficient.DROOP
    assert (prior.mean_of(at), prior.sd_of(at)) == pytest.approx((0.025, 0.05 / 12**0.5), rel=0.05)
    assert np.array_equal(precision_near(prior, 0.2), prior.precision)
    kept = prior.with_vague_gain().with_gain_times(2.0).narrowed_to_gain(0.001, 1.3)
    assert kept.droop_is_usual is False
    assert vague_prior().with_vague_gain().with_gain_times(2.0).droop_is_usual


def test_no_window_is_told_of_a_rise_that_none_explains() -> None:
    """Would notice a window told from the other readings, where some come before any rise may."""
    age_s = np.arange(0.01, 2.0, 0.02)
    value = np.ones(age_s.size)
    assert window_explained_s(age_s, value, 1.0) is None
    value[age_s < 0.5] = 0.0
    assert window_explained_s(age_s, value, 0.2) == 0.2
