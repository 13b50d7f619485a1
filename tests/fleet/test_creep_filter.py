"""The filter against statsmodels, and against the joint normal density written down at once."""

from dataclasses import replace
from math import tau

import numpy as np
import pytest
from scipy.stats import multivariate_normal
from statsmodels.tsa.statespace.structural import UnobservedComponents

from ohmwright.fleet.creep_filter import CreepStates, Histories, filtered
from ohmwright.fleet.creep_forecast import expected_truth, expected_value
from ohmwright.fleet.creep_model import USUAL, CreepModel

STILL = replace(USUAL, rate_walk_sd=0.0, steps_a_year=0.0, season_sd=0.0, noise_ratio=1.0)
START_SD = 1.5


def histories(times: np.ndarray, values: np.ndarray, adjusted: np.ndarray) -> Histories:
    shape = (1, len(times))
    known = np.ones(shape, dtype=bool)
    u = np.full(shape, 0.08)
    return Histories(times[None], values[None], u, adjusted[None], known)


def test_it_is_the_filter_of_statsmodels_for_a_level_that_walks_along_a_line() -> None:
    # reference: statsmodels, UnobservedComponents "local linear deterministic trend"
    rng = np.random.default_rng(1)
    values = 0.2 * np.arange(6.0) + rng.normal(0.0, 0.15, 6)
    reference = UnobservedComponents(values, "local linear deterministic trend")
    sd = STILL.rate_sds[0]
    reference.ssm.initialize_known(
        np.array([0.0, STILL.rate_means[0]]), np.diag([START_SD**2, sd**2])
    )
    told = reference.filter([0.08**2, STILL.walk_sd**2])
    states = filtered([STILL], histories(np.arange(6.0), values, np.zeros(6, dtype=bool)))
    assert states.means[:2, 0, 0, 0] == pytest.approx(told.filtered_state[:, -1], abs=1e-6)
    ours = states.covariances[:2, :2, 0, 0, 0]
    assert ours == pytest.approx(told.filtered_state_cov[..., -1], abs=1e-6)
    ahead = told.get_forecast(2)
    one = np.array([7.0])
    mine = expected_value(states, one, np.array([0.08])).of_unit(0)
    assert mine.means[0, 0] == pytest.approx(ahead.predicted_mean[-1], abs=1e-5)
    assert mine.sds[0, 0] ** 2 == pytest.approx(ahead.var_pred_mean[-1], abs=1e-5)


def _joint_log_density(model: CreepModel, seen: Histories, group: int) -> float:
    """Of all values of one unit, by covariances of a line, a walk and a season."""
    times, values, fresh = seen.times[0], seen.values[0], seen.adjusted[0]
    since = times - times[0]
    piece = np.cumsum(fresh)
    begun = np.array([since[np.flatnonzero(piece == number)[0]] for number in piece])
    fading = model.fadings[group]
    reach = -np.expm1(-fading * since) / fading
    rate = reach - -np.expm1(-fading * begun) / fading
    same = piece[:, None] == piece
    walked = np.minimum.outer(since - begun, since - begun)
    means, sds = model.rate_priors
    season = np.stack([np.cos(tau * times), np.sin(tau * times)])
    covariance = same * (START_SD**2 + model.walk_sd**2 * walked)
    covariance = covariance + sds[group] ** 2 * np.outer(rate, rate)
    covariance += model.season_sd**2 * season.T @ season
    covariance += np.diag((model.noise_ratio * seen.uncertainties[0]) ** 2)
    mean = means[group] * rate + np.array(model.season) @ season
    return float(multivariate_normal(mean, covariance).logpdf(values))


def test_evidence_is_the_joint_density_of_irregular_visits_with_an_adjustment() -> None:
    model = replace(
        USUAL,
        rate_means=(0.3, -0.4),
        fading=0.4,
        rate_walk_sd=0.0,
        steps_a_year=0.0,
        season=(0.05, -0.1),
        season_sd=0.07,
    )
    times = np.array([20.1, 21.3, 21.3, 22.0, 23.6])
    adjusted = np.array([False, False, True, False, False])
    seen = histories(times, np.array([0.1, 0.7, -0.05, 0.2, 0.4]), adjusted)
    states = filtered([model], seen)
    logs = np.log(model.shares) + [_joint_log_density(model, seen, group) for group in range(3)]
    assert states.log_evidence[0, 0] == pytest.approx(np.logaddexp.reduce(logs), abs=1e-6)
    assert states.shares[0, :, 0] == pytest.approx(
        np.exp(logs - np.logaddexp.reduce(logs)), abs=1e-6
    )


def _after(*values: float, adjusted: int | None = None) -> CreepStates:
    fresh = np.arange(len(values)) == adjusted
    times = np.arange(float(len(values)))
    model = replace(USUAL, rate_sds=(0.5, 0.5), walk_sd=0.03, fading=0.01, season_sd=1e-6)
    return filtered([model], histories(times, np.array(values), fresh))


def _rate(states: CreepStates) -> float:
    return float((states.shares * states.means[1]).sum())


def test_a_step_is_no_rate_and_an_adjustment_no_step() -> None:
    steady, stepped = _after(0.0, 0.1, 0.2, 0.3), _after(0.0, 0.1, 1.1, 1.2)
    assert _rate(steady) == pytest.approx(0.1, abs=0.02)
    assert _rate(stepped) < 0.3  # a line through these has 0.46
    assert abs(stepped.surprises[0, 2]) > 3.0
    brought_back = _after(0.0, 0.4, 0.8, 0.0, 0.4, adjusted=3)
    assert _rate(brought_back) == pytest.approx(0.4, abs=0.08)
    assert np.isnan(brought_back.surprises[0, [0, 3]]).all()


def test_each_unit_is_filtered_by_itself_whatever_its_place_and_length() -> None:
    one = histories(np.arange(4.0), np.array([0.0, 0.2, 0.3, 0.5]), np.zeros(4, dtype=bool))
    both = Histories(*(np.repeat(each, 3, axis=0) for each in (
        one.times, one.values, one.uncertainties, one.adjusted, one.known.copy()
    )))  # fmt: skip
    both.known[0, 2:] = False
    both.known[2, 3:] = False
    together = filtered([USUAL, STILL], both)
    alone = filtered([STILL], one)
    assert together.means[:, 1, :, 1] == pytest.approx(alone.means[:, 0, :, 0])
    assert together.times.tolist() == [1.0, 3.0, 2.0]


def test_quantiles_and_risk_are_those_of_drawn_deviations() -> None:
    states = _after(0.0, 0.1, 0.25, 0.5)
    told = expected_truth(states, np.array([4.5]))
    rng = np.random.default_rng(2)
    part = rng.choice(len(told.shares), 200_000, p=told.shares[:, 0])
    drawn = rng.normal(told.means[part, 0], told.sds[part, 0])
    low, high = told.interval(0.9)
    assert np.mean((drawn > low) & (drawn < high)) == pytest.approx(0.9, abs=0.003)
    one = np.ones(1)
    assert told.outside(-one, one)[0] == pytest.approx(np.mean(np.abs(drawn) > 1.0), abs=0.003)
