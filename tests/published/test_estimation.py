"""What the estimators say, held against scipy, statsmodels and sums over grids (`bayes`).

No document prints these values: every one is a reference, computed apart from `estimation` each
time. Readings are made by `tests.estimation.activations`.
"""

import math
from collections.abc import Callable, Iterator
from functools import lru_cache, partial

import numpy as np
import pytest
import statsmodels.api
from scipy import integrate, signal, stats
from scipy.linalg import toeplitz

from ohmwright.engine.asked_current import question
from ohmwright.engine.stop_rules import UntilDecided
from ohmwright.estimation.activation_record import ActivationRecord
from ohmwright.estimation.ar1_regression import (
    CORRELATIONS,
    LOG_SHARES,
    Noise,
    Posterior,
    decompose,
    diagonal_prior,
    moments,
)
from ohmwright.estimation.coefficients import Coefficient, Steps, driven, droop_shape
from ohmwright.estimation.mixture import Mixture, weights
from ohmwright.estimation.prior import NoisePrior, vague_prior
from ohmwright.estimation.settled_value import settled_value
from ohmwright.estimation.thermal_droop import Droop, ResidualWarmth, Warmth
from ohmwright.estimation.transient_estimate import TransientEstimate, fit_transient
from ohmwright.installation.check import Check, clause_checks
from ohmwright.model.hardware import MeterData
from ohmwright.model.step import Point, Timing
from ohmwright.model.tolerance import Allowance, target_of
from tests.estimation.activations import Made
from tests.published import bayes


def test_agrees(check: Check, holds: Callable[[Check], None]) -> None:
    holds(check)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_whole_activation_agrees(seed: int, holds: Callable[[Check], None]) -> None:
    """Its sums take seconds, which collecting must not: every worker collects."""
    for check in whole_activation(seed):
        holds(check)


def checks() -> Iterator[Check]:
    yield from step_responses()
    yield from swings()
    yield from regressions()
    yield from mixtures()
    yield from warmth()
    yield from decided_values()


# ---- step response -------------------------------------------------------------------------

LAG_S, DEAD_S, RATIO, WINDOW_S = 0.8, 0.5, 0.2, 0.6
MOVED_S, COUNTS = 3.0, 4.0
RATE, DAMPING = 1.72, 0.36  # undamped natural frequency, rad/s


def step_responses() -> Iterator[Check]:
    for age_s in (0.7, 1.3, 2.0, 4.0):
        yield from clause_checks(
            *("scipy.signal", f"two lags, dead time and averaging, at {age_s:g} s", "reference"),
            ("switched on", mean_shown(age_s), 1e-6, partial(shown, age_s, 0)),
        )
    yield from clause_checks(
        *("scipy.signal", "two lags, dead time and averaging, trim moved at 3 s", "reference"),
        ("4 counts at 4.2 s", COUNTS * mean_shown(1.2), 1e-6, partial(shown, 4.2, 1)),
    )


def swings() -> Iterator[Check]:
    """A rise that overshoots; and its first peak by the formulas of textbooks on control."""
    lags = np.array([RATE**-2, 2 * DAMPING / RATE, 1.0])
    for age_s in (0.7, 2.0, 4.0, 9.0):
        yield from clause_checks(
            *("scipy.signal", f"damping 0.36, dead time, averaging, at {age_s:g} s", "reference"),
            ("switched on", mean_shown(age_s, lags), 1e-6, partial(swing_shown, age_s, WINDOW_S)),
        )
    damped = RATE * math.sqrt(1 - DAMPING**2)
    peak_s = DEAD_S + math.pi / damped
    overshoot = math.exp(-math.pi * DAMPING * RATE / damped)
    yield from clause_checks(
        *("Ogata, Modern Control Engineering", "second-order system", "from memory"),
        ("maximum overshoot", 1 + overshoot, 1e-5, partial(swing_shown, peak_s, 1e-4)),
    )


def swing_shown(age_s: float, window_s: float) -> float:
    dynamics = np.array([[1 / (DAMPING * RATE), DEAD_S, 1 / DAMPING]])
    return float(driven(np.array([age_s]), window_s, dynamics, Steps.switching_on())[0, 0, 0])


def mean_shown(since_s: float, lags: np.ndarray | None = None) -> float:
    """Mean over the window; a third integrator turns the step response into its integral."""
    if lags is None:
        lags = np.polymul([LAG_S, 1.0], [LAG_S * RATIO, 1.0])
    integrated = signal.TransferFunction([1.0], np.polymul(lags, [1.0, 0.0]))

    def until(time_s: float) -> float:
        if time_s <= DEAD_S:
            return 0.0
        return float(signal.step(integrated, T=np.linspace(0.0, time_s - DEAD_S, 3))[1][-1])

    return (until(since_s) - until(since_s - WINDOW_S)) / WINDOW_S


def shown(age_s: float, column: int) -> float:
    steps = Steps(np.array([0.0, MOVED_S]), np.array([[1.0, 0, 0, 0], [0, COUNTS, 0, 0]]))
    dynamics = np.array([[LAG_S, DEAD_S, RATIO]])
    return float(driven(np.array([age_s]), WINDOW_S, dynamics, steps)[0, 0, column])


# ---- regression under AR(1) noise ----------------------------------------------------------

NOISE = Noise(0.3**2, 3.0)
PRIOR_MEAN, PRIOR_PRECISION = np.array([1.0, -0.5]), np.array([0.8, 4.0])
COUNT, LEFT_OUT = 24, 9


@lru_cache(maxsize=1)
def design() -> np.ndarray:
    """A level, a slope and readings about them, shape (24, 3)."""
    rng = np.random.default_rng(5)
    noise = signal.lfilter([0.3], [1.0, -0.6], rng.normal(size=COUNT))
    slope = np.linspace(0.0, 3.0, COUNT)
    return np.stack([np.ones(COUNT), slope, 1.2 - 0.4 * slope + noise], axis=1)


def kept(all_of_them: bool) -> np.ndarray:
    keep = np.ones(COUNT, dtype=bool)
    keep[LEFT_OUT] = all_of_them
    return keep


def fitted(all_of_them: bool) -> Posterior:
    sums = moments(design(), kept(all_of_them))
    starts = sums.start_terms(CORRELATIONS) + LOG_SHARES
    prior = diagonal_prior(PRIOR_MEAN, PRIOR_PRECISION)
    found = decompose(sums.whitened(CORRELATIONS), prior, NOISE, sums.count, starts)
    return found.posterior(PRIOR_MEAN.size)


def correlation(phi: float, all_of_them: bool) -> np.ndarray:
    """Of AR(1) noise with shocks of variance 1; a reading left out parts it in two."""
    keep = kept(all_of_them)
    run = np.cumsum(~keep)[keep]
    whole = toeplitz(phi ** np.arange(COUNT))[np.ix_(keep, keep)] / (1.0 - phi**2)
    return np.where(run[:, None] == run, whole, 0.0)


def regressions() -> Iterator[Check]:
    for all_of_them, clause in ((True, "24 readings"), (False, "one reading left out")):
        for index in (0, 3):
            phi = float(CORRELATIONS[index])
            gls = generalised(phi, all_of_them)
            fit = partial(fitted, all_of_them)
            scale2 = (NOISE.dof * NOISE.variance + gls.ssr) / (NOISE.dof + gls.nobs - 2)
            yield from clause_checks(
                *("statsmodels GLS, prior as readings", f"{clause}, phi = {phi:g}", "reference"),
                ("level", gls.params[0], 1e-6, partial(lambda f, i: f().mean[i, 0], fit, index)),
                ("slope", gls.params[1], 1e-6, partial(lambda f, i: f().mean[i, 1], fit, index)),
                ("noise", scale2, 1e-6, partial(lambda f, i: f().scale2[i], fit, index)),
                (
                    "sd of the slope",
                    float(np.sqrt(scale2 * gls.normalized_cov_params[1, 1])),
                    1e-6,
                    partial(sd_of_slope, all_of_them, index),
                ),
            )
        yield from clause_checks(
            *("scipy multivariate t", clause, "reference"),
            *(
                (
                    f"probability of phi = {phi:g}",
                    probability_of(phi, all_of_them),
                    1e-4 * probability_of(phi, all_of_them),
                    partial(lambda a, i: weights(fitted(a).log_evidence)[i], all_of_them, index),
                )
                for index, phi in enumerate(CORRELATIONS)
            ),
        )


def sd_of_slope(all_of_them: bool, index: int) -> float:
    fit = fitted(all_of_them)
    return float(np.sqrt(fit.scale2[index] * fit.covariance[index, 1, 1]))


def generalised(phi: float, all_of_them: bool):
    """GLS in which the prior of each coefficient is one reading more."""
    used = design()[kept(all_of_them)]
    n = used.shape[0]
    sigma = np.zeros((n + 2, n + 2))
    sigma[:n, :n] = correlation(phi, all_of_them)
    sigma[n:, n:] = np.diag(1.0 / PRIOR_PRECISION)
    readings = np.append(used[:, 2], PRIOR_MEAN)
    return statsmodels.api.GLS(readings, np.vstack([used[:, :2], np.eye(2)]), sigma).fit()


@lru_cache(maxsize=2)
def probabilities(all_of_them: bool) -> np.ndarray:
    used = design()[kept(all_of_them)]
    log_likely = []
    for phi in CORRELATIONS:
        by_prior = used[:, :2] @ np.diag(1.0 / PRIOR_PRECISION) @ used[:, :2].T
        shape = NOISE.variance * (correlation(phi, all_of_them) + by_prior)
        known = stats.multivariate_t(used[:, :2] @ PRIOR_MEAN, shape, df=NOISE.dof)
        log_likely.append(known.logpdf(used[:, 2]))
    likely = np.exp(np.array(log_likely) - max(log_likely)) * [0.15, 0.25, 0.25, 0.25, 0.1]
    return likely / likely.sum()


def probability_of(phi: float, all_of_them: bool) -> float:
    return float(probabilities(all_of_them)[list(CORRELATIONS).index(phi)])


# ---- mixture -------------------------------------------------------------------------------


def mixtures() -> Iterator[Check]:
    mixture = Mixture(np.array([0.3, 0.7]), np.array([498.0, 501.0]), np.array([1.5, 0.8]), 7.0)
    shares, parts = mixture.weight, stats.t(7.0, mixture.centre, mixture.scale)
    drawn = stats.norm(mixture.centre, mixture.scale)
    mean = float(shares @ drawn.mean())
    sd = float(np.sqrt(shares @ (drawn.var() + (drawn.mean() - mean) ** 2)))
    in_tolerances = mixture.rescaled(500.0, 2.0)
    wider = stats.t(7.0, mixture.centre, np.hypot(2.0 * mixture.scale, 1.2))
    yield from clause_checks(
        *("scipy.stats.t", "mixture of two, 7 degrees of freedom", "reference"),
        ("mean", mean, 1e-9, lambda: mixture.mean),
        ("sd, of their scales", sd, 1e-9, lambda: mixture.sd),
        (
            "probability below 499",
            float(shares @ parts.cdf(499.0)),
            1e-9,
            lambda: mixture.probability_below(499.0),
        ),
        (
            "probability within 500 +- 2",
            float(shares @ (parts.cdf(502.0) - parts.cdf(498.0))),
            1e-9,
            lambda: in_tolerances.probability_between(-1.0, 1.0),
        ),
        (
            "probability below 499, scales doubled and 1.2 more",
            float(shares @ wider.cdf(499.0)),
            1e-9,
            lambda: mixture.widened(2.0, 1.2).probability_below(499.0),
        ),
    )


# ---- warmth --------------------------------------------------------------------------------

UNIT = Droop(0.015, (6.0, 10.0), (10.0, 20.0))
ON_S, OFF_S, AGE_S = 9.0, 7.0, 6.0


def warmed(start: float, seconds: float, tau_s: float, until: float) -> float:
    """Warmth that runs from `start` to `until` with a time constant, integrated by scipy."""
    solved = integrate.solve_ivp(
        lambda _, warmth: (until - warmth) / tau_s, (0.0, seconds), [start], rtol=1e-10, atol=1e-12
    )
    return float(solved.y[0, -1])


def warmth() -> Iterator[Check]:
    def after(on_tau_s: float, off_tau_s: float) -> float:
        return warmed(warmed(0.0, ON_S, on_tau_s, 1.0), OFF_S, off_tau_s, 0.0)

    def now() -> Warmth:
        return Warmth(UNIT).heated(ON_S).cooled(OFF_S)

    least, likely, most = after(10.0, 10.0), after(8.0, 15.0), after(6.0, 20.0)
    yield from clause_checks(
        *("scipy solve_ivp", "9 s of RF and 7 s of rest", "reference"),
        ("warmth, at least", least, 1e-7, lambda: now().least),
        ("warmth, likely", likely, 1e-7, lambda: now().likely),
        ("warmth, at most", most, 1e-7, lambda: now().most),
    )
    # What a warm start takes from the output at an age, beyond a rested one.
    left = [
        warmed(heat, AGE_S, tau_s, 1.0) - warmed(0.0, AGE_S, tau_s, 1.0)
        for heat, tau_s in ((least, 6.0), (likely, 8.0), (most, 10.0))
    ]
    bound = UNIT.largest * max(left[2] - left[1], left[1] - left[0])
    wide = UNIT.largest * max(left[1] / 2.0, left[2] - left[1] / 2.0)
    yield from clause_checks(
        *("GUM 4.3.7, bounds by solve_ivp", "u of what a warm start takes", "reference"),
        ("droop as estimated", bound / 3.0**0.5, 1e-7, lambda: now().residual(AGE_S).uncertainty),
        ("droop not known", wide / 3.0**0.5, 1e-7, lambda: now().planned_uncertainty(AGE_S)),
    )
    for age_s, heat in ((2.0, 0.0), (9.0, 0.0), (5.0, 0.4)):
        expected = mean_droop(age_s, 0.5, heat) - warmed(0.0, AGE_S, 8.0, 1.0)
        yield from clause_checks(
            *("scipy quad and solve_ivp", f"droop at {age_s:g} s, warmth {heat:g}", "reference"),
            ("beyond that at 6 s", expected, 1e-3, partial(droop_at, age_s, heat)),
        )


def mean_droop(age_s: float, window_s: float, heat: float) -> float:
    """Warmth averaged over the window that ends at `age_s`."""
    total, _ = integrate.quad(lambda t: warmed(heat, t, 8.0, 1.0), age_s - window_s, age_s)
    return total / window_s


def droop_at(age_s: float, heat: float) -> float:
    return float(droop_shape(np.array([age_s]), AGE_S, 0.5, heat)[0])


# ---- whole activations ---------------------------------------------------------------------

SHARES = list(zip((0.0, 0.3, 0.5, 0.7, 0.88), (0.15, 0.25, 0.25, 0.25, 0.1), strict=True))
SLOW = Made(lag_s=1.2, dead_s=0.8, noise=0.003)
SIZES = np.geomspace(0.0008, 0.006, 9)


def whole_activation(seed: int) -> Iterator[Check]:
    (level, sd), (_, droop_sd) = transient_by_sums(seed)
    fit = partial(transient_of, seed)
    yield from clause_checks(
        *("sums over a grid", f"whole activation, readings {seed}", "reference"),
        ("level", level, 0.2 * sd, partial(level_of, fit)),
        ("its sd", sd, 0.1 * sd, partial(level_sd_of, fit)),
        (
            "sd of the droop",
            droop_sd,
            0.1 * droop_sd,
            lambda: fit().coefficient(Coefficient.DROOP).sd,
        ),
    )


def level_of(fit: Callable[[], TransientEstimate]) -> float:
    return fit().coefficient(Coefficient.LEVEL).mean


def level_sd_of(fit: Callable[[], TransientEstimate]) -> float:
    return fit().coefficient(Coefficient.LEVEL).sd


def transient_of(seed: int) -> TransientEstimate:
    age_s, value = SLOW.readings(7.0, seed)
    record = ActivationRecord(
        age_s, value / SLOW.level, Steps.switching_on(), SLOW.window_s, 1 / SLOW.level, 6.0, 0.0
    )
    fit = fit_transient(record, vague_prior(largest_droop=0.02), NoisePrior(), None)
    assert fit is not None
    return fit


def transient_by_sums(seed: int) -> tuple[tuple[float, float], tuple[float, float]]:
    """Mean and sd of the level at 6 s and of the droop; the grid is laid anew around its mean."""
    age_s, value = SLOW.readings(7.0, seed)
    means, sds = np.log([0.75, 0.5, 0.15]), np.array([0.8, 0.9, 1.0])
    known = bayes.Gaussian(np.array([1.0, 0.01]), np.array([0.1, 0.006]))
    noise_sd = float(np.sqrt(transient_of(seed).start.variance))
    centre = np.log([SLOW.lag_s, SLOW.dead_s, SLOW.second_pole])
    spread = np.diag([0.02, 0.025, 0.15])
    for _ in range(4):
        grid, columns = bayes.design_grid(age_s, SLOW.window_s, 6.0, centre, spread)
        found = bayes.posterior(
            columns,
            value / SLOW.level,
            known,
            log_prior=-0.5 * np.sum(((grid - means) / sds) ** 2, axis=1),
            correlations=SHARES,
            noise_sds=SIZES,
            relative_shape_sd=0.01 / noise_sd,
        )
        share = found.weight.reshape(-1, grid.shape[0]).sum(axis=0)
        centre = share @ grid
        spread = np.linalg.cholesky((grid - centre).T @ ((grid - centre) * share[:, None]))
    return found.moments(np.array([1.0, 0.0])), found.moments(np.array([0.0, 1.0]))


# ---- values as they are stated -------------------------------------------------------------


def decided_values() -> Iterator[Check]:
    flicker = np.array([0.0, 3.0, 0.0, 0.0, 3.0, 0.0, 1.0, 0.0])
    age_s = 0.5 + 0.2 * np.arange(flicker.size)
    yield from clause_checks(
        *("GUM 4.2.3", "eight readings of no output, 0 to 3 mA", "reference"),
        (
            "u of their mean, mA",
            float(stats.sem(flicker)),
            1e-9,
            lambda: settled_value(age_s, flicker, window_s=0.5, resolution=1.0).uncertainty,
        ),
    )
    yield from clause_checks(
        *("GUM F.2.2.1", "readings of nothing at all, last digit 1 mA", "reference"),
        (
            "u, mA",
            1.0 / 12.0**0.5,
            1e-9,
            lambda: settled_value(age_s, 0 * flicker, window_s=0.5, resolution=1.0).uncertainty,
        ),
    )
    truth_ma = Made(level=505.0).at(6.0)
    yield from clause_checks(
        *("closed form of the readings", "output of 505 mA, decided", "reference"),
        ("value, mA", truth_ma, 1.5, decided_ma),
    )


def decided_ma() -> float:
    made = Made(level=505.0, noise=0.001)
    target = target_of("current_ma", 500.0, Allowance(percent=5))
    point = Point(name="check", load_ohm=200.0, target=target)
    meter = MeterData(
        max_current_ma=2000, resolution_ma=1.0, readings_per_s=made.rate_hz, window_s=made.window_s
    )
    rule = UntilDecided(question(point, Timing(), meter), ResidualWarmth(), lambda _: True)
    for age_s, value in zip(*made.readings(12.0), strict=True):
        if rule.read(float(age_s), float(value)):
            break
    settled = rule.settled()
    assert settled is not None
    return settled.value
