"""An output that teeters between two levels, made here by itself: no equation of the estimators."""

from itertools import product
from operator import itemgetter
from types import SimpleNamespace
from typing import Any, NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats
from scipy.linalg import block_diag, toeplitz

from ohmwright.estimation.activation_record import ActivationRecord, Question
from ohmwright.estimation.ar1_regression import CORRELATIONS, LOG_SHARES
from ohmwright.estimation.coefficients import COUNT, Steps
from ohmwright.estimation.habits import Habits
from ohmwright.estimation.prior import NoisePrior, vague_prior
from ohmwright.estimation.sequential_test import ActivationTest, DecisionBounds
from ohmwright.estimation.settled_value import Settled, settled_value
from ohmwright.estimation.transient_fit import TransientFit, best_fit
from ohmwright.estimation.transient_problem import Problem
from ohmwright.estimation.two_states import (
    _BETTER,
    Arrival,
    Swing,
    _course,
    _most_likely_states,
    _sized,
    _weight,
    arrival,
    steadied,
)

Floats = NDArray[np.float64]
LEVEL, WINDOW_S = 500.0, 0.5


def readings(
    states: Floats, *, seed: int, last_s: float, noise_ma: float = 0.4
) -> tuple[Floats, Floats]:
    """Ages and readings of an output that rises with one lag, times `states` at steps of 10 ms."""
    time_s = np.arange(0.0, last_s, 0.01)
    output = LEVEL * (1 - np.exp(-np.maximum(time_s - 0.3, 0) / 0.5)) * states[: time_s.size]
    width = round(WINDOW_S / 0.01)
    mean = np.convolve(output, np.ones(width) / width)[: time_s.size]
    at = np.arange(20, time_s.size, 20)
    noise = np.random.default_rng(seed).normal(0, noise_ma, at.size)
    return time_s[at], np.round(mean[at] + noise)


def square(half: float, period_s: float, phase: float) -> Floats:
    time_s = np.arange(0.0, 40.0, 0.01)
    return 1 + half * np.where((time_s / period_s + phase) % 1 < 0.5, 1.0, -1.0)


def settled(states: Floats, seed: int, last_s: float = 14.0) -> Settled:
    age_s, value = readings(states, seed=seed, last_s=last_s)
    return settled_value(age_s, value, window_s=WINDOW_S, resolution=1.0)


def covers(found: Settled, true: float) -> bool:
    return abs(found.value - true) < 2 * found.uncertainty


@pytest.mark.parametrize("half", [0.01, 0.03])
def test_the_value_of_an_output_that_teeters_is_its_mean(half: float):
    found = [settled(square(half, 9.0, seed / 20), seed, 11.0) for seed in range(20)]
    assert sum(covers(each, LEVEL) for each in found) >= 18
    # not the level at which it happened to be last: that is off by half the swing
    assert np.median([abs(each.value - LEVEL) for each in found]) < 0.3 * half * LEVEL


def test_one_jump_may_be_for_good():
    """A step of the line voltage looks the same: neither level is left out."""
    states = np.where(np.arange(0.0, 40.0, 0.01) < 7.0, 1.0, 1.02)
    for seed in range(5):
        found = settled(states, seed)
        assert covers(found, 1.02 * LEVEL)
        assert covers(found, 1.01 * LEVEL)


def test_a_steady_output_is_as_sure_as_before():
    found = [settled(np.ones(4000), seed) for seed in range(10)]
    assert max(each.uncertainty for each in found) < 0.002 * LEVEL
    assert all(covers(each, LEVEL) for each in found)


def test_a_sine_is_no_two_states():
    states = 1 + 0.01 * np.sin(np.arange(0.0, 40.0, 0.01) * 2 * np.pi / 7.0)
    found = [settled(states, seed) for seed in range(10)]
    assert all(covers(each, LEVEL) for each in found)


def outcomes(states: Floats, last_s: float) -> list[str]:
    """What a confirmation decides of six activations, watched until `last_s`."""
    question = Question(LEVEL, 5.0, WINDOW_S, 1.0)
    bounds = DecisionBounds(inside=0.996, outside=0.95)
    return [
        ActivationTest(question, bounds).outcome(*readings(states, seed=seed, last_s=last_s))
        for seed in range(6)
    ]


@pytest.mark.parametrize("at_s", [2.2, 2.4, 2.8, 3.2])
def test_an_output_that_jumped_as_it_had_risen_may_go_back(at_s: float):
    """At first it is out of tolerance by its mean, and not in tolerance by where it stands.

    Notices a jump that is taken for the end of the rise.
    """
    states = np.where(np.arange(0.0, 40.0, 0.01) < at_s, 1.04, 1.0)
    assert "in tolerance" not in outcomes(states, 5.0)
    assert "in tolerance" not in outcomes(states, 6.5)
    assert "in tolerance" in outcomes(states, 16.0), "it has stood for long enough"


def test_an_output_that_rose_and_stands_is_decided_as_soon_as_before():
    assert outcomes(np.ones(4000), 6.5) == ["in tolerance"] * 6


def test_the_end_of_a_slow_rise_is_no_jump():
    """A tenth of the output comes later, with a time constant of 1.5 s."""
    time_s = np.arange(0.0, 40.0, 0.01)
    creep = 1 - 0.1 * np.exp(-np.maximum(time_s - 0.3, 0) / 1.5)
    assert outcomes(creep, 16.0).count("in tolerance") >= 5


MIDWAY = np.where(np.arange(0.0, 40.0, 0.01) % 4.0 < 2.0, 1.012, 0.988)
"""Of an output 1.2 tolerances to one side and to the other, 2 s each."""


def test_an_output_midway_is_accepted_only_where_its_later_readings_were_in_tolerance() -> None:
    """Notices a place between two states that is taken for one where the output stands."""
    stood = MIDWAY.copy()
    stood[1200:] = 0.988
    assert "in tolerance" in outcomes(MIDWAY, 24.0)
    assert "in tolerance" not in outcomes(stood, 24.0), "in its later readings it stood without"


def test_an_output_between_two_states_does_not_bend() -> None:
    """Its later readings are as good as those about the age asked for, though they sink."""
    time_s = np.arange(0.0, 40.0, 0.01)
    states = np.where(time_s < 9.0, MIDWAY, 0.988) * (1 - 0.0006 * np.maximum(time_s - 6, 0))
    question = Question(LEVEL, 5.0, WINDOW_S, 1.0, at_age_s=6.0)
    for seed in range(6):
        test = ActivationTest(question, DecisionBounds())
        test.estimate(*readings(states, seed=seed, last_s=16.0))
        assert not test.bends


def test_a_unit_with_two_states_does_not_jump_for_good() -> None:
    one_jump, seen = Swing(np.zeros(2), 0.01, 0.001, jumps=1), Habits().between_states(-0.01)
    assert one_jump.share(Habits(hunting=0.9)) == 0.5
    assert one_jump.share(seen) == 0.999
    assert seen.swing == 0.01
    assert Habits().after(seen).has_two_states, "the next activation knows it"
    assert seen.after(Habits()).has_two_states, "however still it was this time"
    assert seen.still_share(0.0) > 0.9 > Habits(hunting=1.0).still_share(0.0)


# ---- what a swing is found by, each part held against scipy or a plain sum ------------------


def test_the_course_is_the_mean_of_the_state_over_each_window() -> None:
    """By a fine sum; notices a switch that counts from the wrong end of a reading's window."""
    age_s, switch_s = np.arange(0.5, 9.0, 0.3), np.array([2.13, 4.4, 4.61, 7.0])
    time_s = age_s[:, None] - WINDOW_S * (np.arange(4000) + 0.5) / 4000
    switches = (time_s[..., None] > switch_s).sum(axis=-1)
    for begins_high, first in ((True, 1.0), (False, -1.0)):
        found = _course(age_s, switch_s, WINDOW_S, begins_high=begins_high)
        assert found == pytest.approx((first * (-1.0) ** switches).mean(axis=1), abs=1e-3)


def test_the_states_are_the_most_likely_of_all_sequences() -> None:
    """Every sequence of ten readings is tried: Gaussian misfits, and a term for each switch."""
    every = np.array(list(product([False, True], repeat=10)))
    switches = (every[:, 1:] != every[:, :-1]).sum(axis=1)
    switched = set[int]()
    for seed in range(40):
        rng = np.random.default_rng(seed)
        truth = rng.integers(0, 10) <= np.arange(10)
        readings = 4.0 * truth + rng.normal(0, 1.2, 10)
        misfit = np.where(every, -stats.norm.logpdf(readings - 4.0), -stats.norm.logpdf(readings))
        best = int(np.argmin(misfit.sum(axis=1) + switches * (np.log(10) + _BETTER / 2)))
        assert _most_likely_states(readings, readings - 4.0).tolist() == every[best].tolist()
        switched.add(int(switches[best]))
    assert {0, 1} <= switched


def test_a_reading_counts_by_the_variance_of_noise_and_rise() -> None:
    risen = np.array([0.9, 0.95, 0.99, 1.0])
    variance = 0.002**2 + (0.15 * (1 - risen)) ** 2
    assert _weight(risen) == pytest.approx(0.002**2 / variance)


def test_an_output_that_jumped_may_return_less_and_less_likely() -> None:
    came = Arrival(off=0.04, age_s=3.0)
    assert came.may_return(3.0) == 0.5
    assert came.may_return(8.0) == pytest.approx(0.5 / np.e)


@pytest.mark.parametrize("half", [0.003, 0.01])
def test_the_swing_is_that_of_one_regression_more(half: float) -> None:
    """Evidence, half the swing and its sd, where scipy's multivariate t gives the readings.

    Notices a swing that is believed for the width of its prior instead of for the readings.
    """
    problem, fit = fitted(square(half, 9.0, 0.3), seed=3)
    age_s = problem.record.age_s
    switch_s = np.array([1.8, 6.3, 10.8])
    course = fit.columns[:, 0] * _course(age_s, switch_s, WINDOW_S, begins_high=True)
    swing, better, left = _sized(problem, fit, fit.columns, course, switch_s.size)

    mean, spread = problem.prior.mean, problem.prior.covariance / fit.state.variance
    plain, swinging = fit.columns, np.column_stack([course, fit.columns])
    without = conditioned(problem, problem.weighted(plain, fit.linearised_at), mean, spread)
    wider = block_diag(0.02**2 / fit.state.variance, spread)
    weighted = problem.weighted(swinging, fit.linearised_at)
    expected = conditioned(problem, weighted, np.concatenate([[0.0], mean]), wider)
    assert better == pytest.approx(expected.evidence - without.evidence, abs=1e-3)
    assert swing.half == pytest.approx(expected.mean[0], rel=1e-4)
    assert swing.sd == pytest.approx(expected.sd[0], rel=1e-4)
    assert left == pytest.approx(swinging[:, -1] - swinging[:, :-1] @ expected.mean, abs=1e-7)


def fitted(states: Floats, seed: int, noise_ma: float = 0.4) -> tuple[Problem, TransientFit]:
    """The plain fit of an activation of 11 s."""
    age_s, value = readings(states, seed=seed, last_s=11.0, noise_ma=noise_ma)
    asked, switched = Question(LEVEL, 5.0, WINDOW_S, 1.0), Steps.switching_on()
    record = ActivationRecord.of(asked, age_s, value, switched, 0.0)
    return best_fit(Problem.of(record, vague_prior(0.02), NoisePrior(), False), None)


def test_two_states_are_found_where_there_are_two_and_nowhere_else() -> None:
    """Notices a swing that needs to be likely or distinct only, not both: a sine is likely."""
    time_s = np.arange(0.0, 40.0, 0.01)
    for seed in range(6):
        swing = found(square(0.01, 9.0, 0.0), seed)  # jumps at 4.5 and 9 s
        assert swing is not None
        assert (swing.half, swing.jumps) == (pytest.approx(0.01, rel=0.05), 2)
        assert found(np.ones(4000), seed) is None
        for period_s in (4.0, 9.0, 12.0):
            assert found(1 + 0.04 * np.sin(2 * np.pi * time_s / period_s), seed) is None


def test_two_states_are_told_through_the_noise_of_the_readings() -> None:
    """Noise of 0.28 of half the swing; notices one that is counted against the states."""
    time_s = np.arange(0.0, 40.0, 0.01)
    swings = [found(square(0.01, 6.0, 0.0), seed, noise_ma=1.4) for seed in range(6)]
    assert sum(each is not None for each in swings) >= 4
    sine = 1 + 0.01 * np.sin(2 * np.pi * time_s / 6.0)
    assert sum(found(sine, seed, noise_ma=1.4) is not None for seed in range(6)) == 0


def found(states: Floats, seed: int, noise_ma: float = 0.4) -> Swing | None:
    steady = steadied(*fitted(states, seed, noise_ma))
    return None if steady is None else steady.swing


class Conditioned(NamedTuple):
    """Of a regression: log evidence of the likeliest correlation; mean and sd under it."""

    evidence: float
    mean: Floats
    sd: Floats


def conditioned(problem: Problem, columns: Floats, mean: Floats, spread: Floats) -> Conditioned:
    """What weighted readings, the last of the columns, say of the coefficients before them."""
    noise, kept = problem.noise_prior(), np.flatnonzero(problem.keep)
    design, values = columns[kept, :-1], columns[kept, -1]
    misfit, cross = values - design @ mean, design @ spread
    found = []
    for phi, log_share in zip(CORRELATIONS, LOG_SHARES, strict=True):
        shape = toeplitz(phi ** np.arange(kept.size)) / (1 - phi**2) + cross @ design.T
        likely = stats.multivariate_t(np.zeros(kept.size), noise.variance * shape, noise.dof)
        found.append((float(likely.logpdf(misfit) + log_share), shape))
    evidence, shape = max(found, key=itemgetter(0))
    after = mean + cross.T @ np.linalg.solve(shape, misfit)
    square = float(misfit @ np.linalg.solve(shape, misfit))
    scale2 = (noise.dof * noise.variance + square) / (noise.dof + kept.size)
    covariance = scale2 * (spread - cross.T @ np.linalg.solve(shape, cross))
    return Conditioned(evidence, after, np.sqrt(np.diag(covariance)))


QUICK_MA = (
    "324.0 391.2 466.3 489.7 495.6 502.8 500.2 505.2 505.8 503.8 506.4 504.8 501.8 505.2 504.0 "
    "504.6 505.2 507.1 505.4 505.2 505.8 502.4 507.0 503.4 505.8 503.2 503.4 504.4 507.7 505.8 "
    "503.8 504.4 503.0 504.6 503.8 505.8 502.6"
)
"""Of an emulated output with a lag of 0.25 s on a meter that shows a mean over 0.2 s."""


def test_the_end_of_a_quick_rise_is_no_jump():
    """It was, and the value so unsure as if the output might fall by a quarter."""
    value = np.array([float(word) for word in QUICK_MA.split()])
    age_s = np.concatenate([[0.29], 0.45 + 0.2 * np.arange(value.size - 1)])
    question = Question(490.0, 47.0, 0.2, 1.0, at_age_s=4.0)
    for first in range(1, 12):  # from where each search ends the next begins
        test = ActivationTest(question, DecisionBounds())
        test.estimate(age_s[:first], value[:first])
        test.estimate(age_s, value)
        assert test.value is not None
        assert test.value.sd < 3.0


def came(off: Floats, early: Floats) -> Arrival:
    """How an output came that had risen at 1 s; of readings 0.1 s apart, `off` by (n,) so much."""
    age_s = 1.0 + 0.1 * np.arange(off.size)
    record = SimpleNamespace(age_s=age_s, averaged_s=WINDOW_S)
    columns = np.ones((off.size, COUNT + 1))
    problem: Any = SimpleNamespace(record=record, keep=np.full(off.size, True), excess=early)
    return arrival(problem, SimpleNamespace(residuals=off, columns=columns))  # type: ignore[arg-type]


def test_an_output_came_at_once_that_stood_off_until_it_no_more_was() -> None:
    """Notices a jump that is overlooked, a smaller one, and one that is but the end of a rise."""
    age_s = 1.0 + 0.1 * np.arange(90)
    jumped, rose = np.where(age_s < 2.05, -0.04, 0.0), np.where(age_s < 1.35, -0.1, 0.0)
    assert came(jumped, jumped**2) == Arrival(off=0.04, age_s=pytest.approx(2.0))
    rose[age_s > 1.35] = np.where(age_s[age_s > 1.35] < 4.05, -0.05, 0.0)
    assert came(rose, rose**2) == Arrival()
