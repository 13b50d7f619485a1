from dataclasses import replace

import numpy as np
import pytest

from ohmwright.estimation import transient_fit
from ohmwright.estimation.activation_record import ActivationRecord
from ohmwright.estimation.coefficients import (
    TRIM,
    Coefficient,
    Steps,
    output_at,
    window_mean_response,
)
from ohmwright.estimation.habits import Habits
from ohmwright.estimation.prior import NoisePrior, vague_prior
from ohmwright.estimation.transient_estimate import fit_transient
from ohmwright.estimation.transient_fit import best_fit, without_early_departures
from ohmwright.estimation.transient_problem import Problem

from .activations import Made, step_response

TARGET = 500.0


def record(made, until_s, seed=1, moves=()):
    """Readings of an activation in which the trim moved: (age, counts, gain) each."""
    age_s, value = made.readings(until_s, seed)
    at_s, weights = [0.0], [output_at(0, 0)[TRIM]]
    for moved_s, counts, gain in moves:
        value = value + counts * gain * step_response(made, age_s - moved_s)
        at_s.append(moved_s)
        weights.append((output_at(counts, 0) - output_at(0, 0))[TRIM])
    return ActivationRecord(
        age_s, value / TARGET, Steps(np.array(at_s), np.array(weights)), made.window_s,
        made.resolution / TARGET, 6.0, 0.0,
    )  # fmt: skip


def level(fit):
    return fit.coefficient(Coefficient.LEVEL)


def test_response_is_the_mean_of_the_step_response_over_the_window():
    since_s, window_s = np.linspace(0.1, 6, 30), 0.6
    shown = window_mean_response(since_s, window_s, lag_s=0.8, dead_time_s=0.5, pole_ratio=0.2)
    t = since_s[:, None] - window_s * (np.arange(2000) + 0.5) / 2000 - 0.5
    t = np.maximum(t, 0)
    step = 1 - (0.8 * np.exp(-t / 0.8) - 0.16 * np.exp(-t / 0.16)) / 0.64
    np.testing.assert_allclose(shown, step.mean(axis=1), atol=1e-5)


@pytest.mark.parametrize("second_pole", [0.1, 0.7])
def test_level_is_predicted_before_the_lag_has_gone(second_pole):
    made = Made(lag_s=1.0, second_pole=second_pole)
    z, sds = [], []
    for seed in range(60):
        fit = fit_transient(record(made, 5.0, seed), vague_prior(), NoisePrior(), None)
        z.append((level(fit).mean * TARGET - made.at(6.0)) / (level(fit).sd * TARGET))
        sds.append(level(fit).sd)
    assert np.sqrt(np.mean(np.square(z))) < 1.6
    assert np.median(sds) < 0.012


def test_gain_dead_time_and_lag_come_from_one_activation_with_a_move():
    made = Made(noise=0.001)
    gains = []
    for seed in range(20):
        moved = record(made, 8.0, seed, moves=[(4.0, 8, -1.5)])
        fit = fit_transient(moved, vague_prior(), NoisePrior(), None)
        gains.append(fit.coefficient(Coefficient.GAIN).mean * TARGET)
    assert np.mean(gains) == pytest.approx(-1.5, rel=0.15)
    assert fit.lag_s == pytest.approx(0.8, rel=0.1)
    assert fit.dead_time_s == pytest.approx(0.5, abs=0.1)


@pytest.mark.parametrize(("delay", "found"), [(0.0, {0.05}), (1.0, {1.0}), (2.5, {2.5})])
def test_moves_that_act_sooner_or_later_than_the_rise_are_told_by_their_own_readings(delay, found):
    """An amplifier behind a soft start: what a move does is there at once, whatever the rise."""
    made, gains, delays = Made(lag_s=1.2, dead_s=0.8, noise=0.001), [], set()
    own = replace(made, lag_s=max(0.01, 1.2 * delay), dead_s=0.8 * delay)
    for seed in range(6):
        plain = record(made, 12.0, seed)
        steps = Steps(np.array([0.0, 5.0]), np.array([[1.0, 0, 0, 0], [0, 8, 0, 0]]))
        relative = plain.relative - 8 * 1.5 / TARGET * step_response(own, plain.age_s - 5.0)
        start = None
        for count in range(26, plain.age_s.size + 1):
            seen = replace(plain, age_s=plain.age_s[:count], relative=relative[:count], steps=steps)
            fit = fit_transient(seen, vague_prior(), NoisePrior(), start)
            start = fit.start
        gains.append(fit.coefficient(Coefficient.GAIN).mean * TARGET)
        delays.add(fit.habits.move_delay)
    assert delays == found
    assert np.mean(gains) == pytest.approx(-1.5, rel=0.05)


def test_spikes_do_not_carry_the_level_off():
    made = Made()
    clean = record(made, 6.0)
    spiked = clean.relative.copy()
    spiked[[12, 20]] *= 1.25
    fit = fit_transient(clean, vague_prior(), NoisePrior(), None)
    robust = fit_transient(
        ActivationRecord(**{**clean.__dict__, "relative": spiked}),
        vague_prior(),
        NoisePrior(),
        None,
    )
    assert abs(level(robust).mean - level(fit).mean) < 3 * level(fit).sd


def test_hunting_is_recognised_and_widens_the_answer():
    calm, hunting = Made(), Made(hunting=0.01, period_s=6.0)
    noise = NoisePrior(habits=Habits(0.3))
    seen = [
        fit_transient(record(m, 12.0), vague_prior(), noise, None, departures=True)
        for m in (calm, hunting)
    ]
    assert seen[0].habits.hunting < 0.3 < 0.8 < seen[1].habits.hunting


@pytest.mark.parametrize(("half", "swing"), [(0.02, 0.02), (-0.02, 0.02), (0.001, 0.004)])
def test_a_unit_swings_by_the_most_that_was_seen_of_it(half, swing):
    fit = fit_transient(record(Made(), 8.0), vague_prior(), NoisePrior(), None)
    calm = replace(fit, habits=Habits(swing=0.004))
    seen = calm.swinging(half, 0.003)
    assert (seen.habits.swing, seen.habits.hunting) == (swing, 1.0)
    assert level(seen).sd == pytest.approx(np.hypot(level(calm).sd, 0.003), rel=1e-6)


def test_the_scatter_is_what_all_other_coefficients_leave_of_the_level():
    """The same from the inverse of the covariance, with what the unit swings by, too."""
    calm = fit_transient(record(Made(), 6.0), vague_prior(), NoisePrior(), None, departures=True)
    assert calm is not None
    for fit in (calm, calm.swinging(0.01, 0.003)):
        precision = np.linalg.inv(fit.covariance)[:, Coefficient.LEVEL, Coefficient.LEVEL]
        assert fit.scatter == pytest.approx(np.sqrt(fit.weight @ (1 / precision)), rel=1e-6)


def test_nothing_is_said_before_the_output_rises():
    assert fit_transient(record(Made(), 0.9), vague_prior(), NoisePrior(), None) is None


def test_remainder_shrinks_with_the_lag():
    made = Made(lag_s=1.0)
    remainders = [
        fit_transient(record(made, until), vague_prior(), NoisePrior(), None).remainder
        for until in (3.0, 5.0, 8.0)
    ]
    assert remainders[0] > 3 * remainders[1] > 9 * remainders[2]


def test_the_second_pole_stays_the_faster_one_where_both_are_alike():
    """Beyond a ratio of one the two would change places, and the response has no such form."""
    made = Made(lag_s=1.0, second_pole=0.95)
    for seed in range(12):
        fit = fit_transient(record(made, 6.0, seed), vague_prior(), NoisePrior(), None)
        assert np.exp(fit.start.dynamics[-1]) < 1.0


def test_an_output_that_creeps_after_a_quick_rise_is_another_shape_and_not_a_quick_lag():
    """A fifth of the output comes with 3 s, as no two lags after a dead time can have it."""
    made = Made(lag_s=0.15, droop=0.0, noise=0.001)
    quick = record(made, 9.0)
    creeping = quick.relative * (1 - 0.2 * np.exp(-np.maximum(quick.age_s - 0.5, 0.0) / 3.0))
    seen = ActivationRecord(**{**quick.__dict__, "relative": creeping})
    plain, whole = (
        level(fit_transient(seen, vague_prior(), NoisePrior(), None, departures=each))
        for each in (False, True)
    )
    assert abs(plain.mean - 1.0) > 3 * plain.sd
    assert abs(whole.mean - 1.0) < 2 * whole.sd


def test_droop_that_shows_later_by_the_delay_is_within_the_uncertainty():
    made = Made(lag_s=1.5, dead_s=1.0, droop=0.015, noise=1e-4, resolution=0.01)
    for late_s in (0.0, 2.5, 4.0):  # droops with the age, with the output, and behind the lag
        age_s, value = made.readings(15.0)
        t = age_s - 0.25
        droop = 0.015 * np.exp(-np.maximum(t - late_s, 0.0) / 8.0)
        value = value / (1 - 0.015 * (1 - np.exp(-t / 8.0))) * (1 - 0.015 + droop)
        seen = ActivationRecord(age_s, value / TARGET, Steps.switching_on(), 0.5, 1e-5, 6.0, 0.0)
        fit = fit_transient(seen, vague_prior(), NoisePrior(), None, departures=True)
        assert abs(fit.level(0.0).mean * TARGET - made.at(6.0)) < 2 * fit.level(0.0).sd * TARGET


@pytest.mark.parametrize("dynamics", [(-2.5, 1.5, -1.9), (1.5, 1.0, -0.1), (-0.2, 1.2, -2.0)])
def test_a_fit_that_begins_far_off_ends_where_one_from_a_first_guess_does(dynamics):
    readings = record(Made(), 8.0)
    fresh = fit_transient(readings, vague_prior(), NoisePrior(), None)
    far_off = replace(fresh.start, dynamics=np.array(dynamics))
    fit = fit_transient(readings, vague_prior(), NoisePrior(), far_off)
    assert fit.lag_s == pytest.approx(fresh.lag_s, rel=1e-3)
    assert abs(level(fit).mean - level(fresh).mean) < 0.01 * level(fresh).sd


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_an_early_disturbance_takes_weight_from_readings_within_a_second_and_no_later_ones(seed):
    made = Made(lag_s=0.3, noise=0.003, correlation=0.0, rate_hz=10.0, window_s=0.1, resolution=0.1)
    calm = record(made, 16.0, seed)
    bump = (calm.age_s > 2.65) & (calm.age_s < 3.05)
    readings = replace(calm, relative=calm.relative + np.where(bump, 0.05, 0.0))
    problem = Problem.of(readings, vague_prior(), NoisePrior(), False)
    weighed, _ = without_early_departures(*best_fit(problem, None))
    count_less = readings.age_s[weighed.excess > 0]
    assert set(readings.age_s[bump]) <= set(count_less)
    assert count_less.min() == pytest.approx(2.7 - 0.8, abs=0.25)
    assert count_less.max() == pytest.approx(3.0 + 0.8, abs=0.25)


def test_a_late_rise_is_seen_and_no_lag_is_longer_than_any_that_is_believed():
    """A generator that does nothing for 4 s, and one that rises with a lag of 9 s."""
    late, slow = (
        fit_transient(record(made, 40.0), vague_prior(), NoisePrior(), None)
        for made in (Made(dead_s=4.0), Made(lag_s=9.0))
    )
    assert late.dead_time_s == pytest.approx(4.0, abs=0.2)
    assert slow.lag_s == pytest.approx(6.0)


def test_what_was_found_of_the_averaging_is_where_the_next_fit_begins(monkeypatch):
    """At a reading where no other explanation is searched for: none is begun anew."""
    made = Made(lag_s=1.0, second_pole=0.2, dead_s=0.2, window_s=0.05, noise=0.0005)
    filtered = replace(record(made, 2.41), window_s=2.0)
    first = fit_transient(filtered, vague_prior(), NoisePrior(), None)
    assert first.start.averaging == "filter"
    longer = replace(record(made, 2.61), window_s=2.0)
    monkeypatch.setattr(transient_fit, "first_guess", None)
    fit = fit_transient(longer, vague_prior(), NoisePrior(), first.start)
    assert fit.start.averaging == "filter"
