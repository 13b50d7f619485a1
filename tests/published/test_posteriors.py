"""Posteriors under every explanation of an output, held against scipy's multivariate t.

The estimator integrates coefficients out by Cholesky factors of normal matrices, all explanations
at once. Here each explanation is one multivariate t distribution of the readings, and coefficients
follow from conditioning on them. No document prints these values: references all.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache, partial

import numpy as np
from scipy import stats
from scipy.linalg import toeplitz
from scipy.special import logsumexp

from ohmwright.engine.asked_current import question
from ohmwright.estimation.activation_record import ActivationRecord
from ohmwright.estimation.ar1_regression import (
    CORRELATIONS,
    LOG_SHARES,
    Noise,
    covariances,
    diagonal_prior,
    moments,
)
from ohmwright.estimation.coefficients import COUNT, Coefficient, Steps
from ohmwright.estimation.departures import (
    COURSE_COUNT,
    DEPARTURE_COUNT,
    EXPLANATIONS,
    WANDER_COUNT,
    WANDERS,
)
from ohmwright.estimation.habits import Habits
from ohmwright.estimation.mixture import Members, members_with_departures
from ohmwright.estimation.prior import NoisePrior, vague_prior
from ohmwright.estimation.sequential_test import ActivationTest, DecisionBounds
from ohmwright.estimation.transient_estimate import TransientEstimate, fit_transient
from ohmwright.installation.check import Check, clause_checks
from ohmwright.model.hardware import MeterData
from ohmwright.model.step import Point, Timing
from ohmwright.model.tolerance import Allowance, target_of
from tests.estimation.activations import Made
from tests.published.test_estimation import transient_of

READINGS = 26
NOISE, VARIANCE, HABITS = Noise(0.0021**2, 4.0), 0.0017**2, Habits(hunting=0.3, other_shape=0.2)
MEAN = np.array([1.0, 0.1, 0.0, 0.05, 0.02, 0.1, -0.1, 0.2])
PRECISION = np.array([0.01, 0.2, 0.1, 0.3, 0.02, 0.5, 0.4, 0.3])
"""Of the eight coefficients, times the variance of the noise."""


def test_agrees(check: Check, holds: Callable[[Check], None]) -> None:
    holds(check)


def checks() -> Iterator[Check]:
    yield from shares()
    yield from explained()
    yield from merged()
    yield from swings()
    yield from outcomes()


def shares() -> Iterator[Check]:
    """Whatever a unit's habits, the explanations of each kind share its probability.

    Those of another shape that also hunt do not: hunting with one period is left out of them.
    """
    for habits in (Habits(), HABITS, Habits(hunting=0.98, other_shape=0.98)):
        hunts, other = habits.hunting, habits.other_shape
        kinds = (
            ("plain, does not hunt", (1 - hunts) * (1 - other), False, False),
            ("plain, hunts", hunts * (1 - other), True, False),
            ("another shape, does not hunt", (1 - hunts) * other, False, True),
        )
        for what, expected, *kind in kinds:
            row = (what, expected, 1e-12, partial(probability_of, habits, *kind))
            clause = f"probability, hunting {hunts:g} and other shapes {other:g}"
            yield from clause_checks("exact arithmetic", clause, "reference", row)


def probability_of(habits: Habits, hunts: bool, other_shape: bool) -> float:
    return float(
        sum(
            np.exp(each.log_probability(habits))[each.hunts == hunts].sum()
            for each in EXPLANATIONS
            if each.other_shape == other_shape
        )
    )


# ---- every explanation ---------------------------------------------------------------------


@lru_cache(maxsize=1)
def design() -> np.ndarray:
    """Columns of departures, of the eight, and readings: a smooth swing and noise."""
    rng = np.random.default_rng(12)
    columns = rng.normal(size=(READINGS, DEPARTURE_COUNT + COUNT))
    truth = np.concatenate([rng.normal(0.0, 0.004, DEPARTURE_COUNT), MEAN])
    readings = columns @ truth + rng.normal(0.0, 0.002, READINGS)
    return np.column_stack([columns, readings])


def found() -> Members:
    sums = moments(design(), np.ones(READINGS, dtype=bool))
    return members_with_departures(sums, diagonal_prior(MEAN, PRECISION), NOISE, VARIANCE, HABITS)


@dataclass(frozen=True)
class Expected:
    """Probabilities, and moments of the level and of the first course of the droop."""

    hunting: float
    other_shape: float
    correlation: float
    level: tuple[float, float]
    course: tuple[float, float]


@lru_cache(maxsize=1)
def expected() -> Expected:
    rows = []
    for each in EXPLANATIONS:
        for k in range(each.share.size):
            hunts = HABITS.hunting if each.hunts[k] else 1 - HABITS.hunting
            other = HABITS.other_shape if each.other_shape else 1 - HABITS.other_shape
            log_prior = np.log(hunts * other * each.share[k])
            used = np.concatenate(
                [
                    np.arange(WANDER_COUNT),
                    WANDER_COUNT + each.columns[k],
                    -1 - np.arange(1, 9)[::-1],
                ]
            )
            sd = np.concatenate([WANDERS[each.wander[k]], each.sd[k]]) / np.sqrt(VARIANCE)
            spread = np.concatenate([sd**2, 1 / PRECISION])
            for phi, log_share in zip(CORRELATIONS, LOG_SHARES, strict=True):
                rows.append(
                    (
                        *conditioned(design()[:, used], spread, float(phi), log_prior + log_share),
                        *(float(each.hunts[k]), float(each.other_shape), float(phi)),
                    )
                )
    table = np.array(rows)
    share = np.exp(table[:, 0] - logsumexp(table[:, 0]))
    level, level_sd, course, course_sd, hunts, other, phi = table[:, 1:].T
    return Expected(
        *(float(share @ column) for column in (hunts, other, phi)),
        mixed(share, level, level_sd),
        mixed(share, course, course_sd),
    )


def conditioned(
    columns: np.ndarray, spread: np.ndarray, phi: float, log_prior: float
) -> tuple[float, float, float, float, float]:
    """Log weight, then mean and sd of the level and of the first course, given the readings."""
    mean = np.concatenate([np.zeros(spread.size - COUNT), MEAN])
    cross = columns * spread
    shape = toeplitz(phi ** np.arange(READINGS)) / (1 - phi**2) + cross @ columns.T
    readings = stats.multivariate_t(columns @ mean, NOISE.variance * shape, NOISE.dof)
    left = np.linalg.solve(shape, design()[:, -1] - columns @ mean)
    misfit = float((design()[:, -1] - columns @ mean) @ left)
    scale2 = (NOISE.dof * NOISE.variance + misfit) / (NOISE.dof + READINGS)
    after = mean + cross.T @ left
    covariance = scale2 * (np.diag(spread) - cross.T @ np.linalg.solve(shape, cross))
    sd = np.sqrt(np.diag(covariance))
    level, course = spread.size - COUNT + Coefficient.LEVEL, spread.size - COUNT - COURSE_COUNT
    weight = float(readings.logpdf(design()[:, -1])) + log_prior
    return weight, after[level], sd[level], after[course], sd[course]


def mixed(share: np.ndarray, mean: np.ndarray, sd: np.ndarray) -> tuple[float, float]:
    centre = float(share @ mean)
    return centre, float(np.sqrt(share @ (sd**2 + mean**2) - centre**2))


def moments_of(index: int) -> tuple[float, float]:
    members = found()
    variance = covariances(members.spread)[:, index, index]
    return mixed(members.weight, members.mean[:, index], np.sqrt(variance))


def explained() -> Iterator[Check]:
    known = expected()
    level, course = COURSE_COUNT + Coefficient.LEVEL, 0
    yield from clause_checks(
        *("scipy multivariate t", "every explanation of 26 readings", "reference"),
        ("probability that it hunts", known.hunting, 1e-5, lambda: found().hunting),
        ("probability of another shape", known.other_shape, 1e-5, lambda: found().other_shape),
        ("correlation of neighbours", known.correlation, 1e-5, lambda: found().correlation),
        ("level", known.level[0], 1e-6, lambda: moments_of(level)[0]),
        ("sd of the level", known.level[1], 1e-7, lambda: moments_of(level)[1]),
        ("quicker droop", known.course[0], 1e-7, lambda: moments_of(course)[0]),
        ("its sd", known.course[1], 1e-7, lambda: moments_of(course)[1]),
    )


# ---- mixtures of estimates -----------------------------------------------------------------


def sigma_points(estimate: TransientEstimate) -> tuple[np.ndarray, np.ndarray]:
    """Points with shares whose mean and covariance are those of the mixture."""
    points, share = [], []
    for weight, mean, covariance in zip(
        estimate.weight, estimate.mean, estimate.covariance, strict=True
    ):
        steps = np.sqrt(COUNT) * np.linalg.cholesky(covariance).T
        points += [*(mean + steps), *(mean - steps)]
        share += [weight / (2 * COUNT)] * (2 * COUNT)
    return np.array(points), np.array(share)


def merged() -> Iterator[Check]:
    def both() -> TransientEstimate:
        return transient_of(1).or_else(transient_of(2), 0.3)

    points, share = sigma_points(both())
    covariance = np.cov(points.T, aweights=share, ddof=0)
    mean = np.average(points, axis=0, weights=share)
    one, other = (transient_of(seed).coefficient(Coefficient.LEVEL).mean for seed in (1, 2))
    level, droop = Coefficient.LEVEL, Coefficient.DROOP
    yield from clause_checks(
        *("numpy cov, of sigma points", "one estimate or, by 0.3, another", "reference"),
        ("level", 0.7 * one + 0.3 * other, 1e-12, lambda: both().coefficient(level).mean),
        ("level as a prior", mean[level], 1e-9, lambda: both().as_prior().mean[level]),
        (
            "sd of the level as a prior",
            float(np.sqrt(covariance[level, level])),
            1e-9,
            lambda: float(np.sqrt(both().as_prior().covariance[level, level])),
        ),
        (
            "correlation of level and droop",
            float(covariance[level, droop] / np.sqrt(covariance[level, level])),
            1e-9,
            lambda: float(
                both().as_prior().covariance[level, droop]
                / np.sqrt(both().as_prior().covariance[level, level])
            ),
        ),
        ("remainder", mean_remainder(), 1e-12, lambda: both().remainder),
    )
    # Without knowing more than the noise: what all else being known leaves of the level.
    alone = [
        np.linalg.inv(np.linalg.inv(part)[:1, :1])[0, 0] for part in transient_of(1).covariance
    ]
    yield from clause_checks(
        *("conditional normal distribution", "level, all else known", "reference"),
        (
            "sd",
            float(np.sqrt(transient_of(1).weight @ alone)),
            1e-12,
            lambda: transient_of(1).scatter,
        ),
    )


def mean_remainder() -> float:
    return float(np.average([transient_of(s).remainder for s in (1, 2)], weights=[0.7, 0.3]))


# ---- swings --------------------------------------------------------------------------------


def swings() -> Iterator[Check]:
    """A sine of 1 % is a standard deviation of 1 % / sqrt(2), when whole periods are seen."""
    for period_s in (1.0, 1.5, 3.0):
        row = ("swing", 0.01 / 2**0.5, 0.0004, partial(swing_of, period_s))
        clause = f"output that hunts by 1 %, period {period_s:g} s"
        yield from clause_checks("closed form", clause, "reference", row)


def swing_of(period_s: float) -> float:
    made = Made(
        hunting=0.01, period_s=period_s, noise=0.0005, window_s=0.1, rate_hz=10.0, resolution=0.1
    )
    age_s, value = made.readings(14.0)
    relative, digit = value / made.level, made.resolution / made.level
    switched = Steps.switching_on()
    record = ActivationRecord(age_s, relative, switched, made.window_s, digit, 6.0, 0.0)
    fit = fit_transient(record, vague_prior(), NoisePrior(), None)
    assert fit is not None
    return fit.habits.swing


# ---- decisions of an activation ------------------------------------------------------------

# output at 6 s over its target of 500 mA, +- 5 %
OUTPUTS = ((1.0, "in tolerance"), (1.03, "in tolerance"), (1.08, "too high"), (0.92, "too low"))


def outcomes() -> Iterator[Check]:
    for relative, outcome in OUTPUTS:
        row = (f"{100 * relative:g} % of 500 mA", outcome, 0.0, partial(outcome_of, relative, 9.0))
        yield from clause_checks("closed form", "output held to +-5 %", "reference", row)
    for relative in (0.95, 1.05):
        row = (
            f"{100 * relative:g} % of 500 mA, on the limit",
            "undecided",
            0.0,
            partial(outcome_of, relative, 9.0),
        )
        yield from clause_checks("closed form", "output held to +-5 %", "reference", row)
    row = ("2 s after ON", "undecided", 0.0, partial(outcome_of, 1.0, 1.6))
    yield from clause_checks("closed form", "output held to +-5 %", "reference", row)


def outcome_of(relative: float, until_s: float) -> str:
    made = Made(level=1.0, noise=0.001)
    made = Made(level=500.0 * relative / made.at(6.0), noise=0.001)
    point = Point(
        name="check",
        load_ohm=200.0,
        target=target_of("current_ma", 500.0, Allowance(percent=5)),
    )
    meter = MeterData(
        max_current_ma=2000, resolution_ma=1.0, readings_per_s=made.rate_hz, window_s=made.window_s
    )
    test = ActivationTest(question(point, Timing(), meter), DecisionBounds())
    return test.outcome(*made.readings(until_s))
