"""Settled values of outputs whose truth is a closed form, and rests and slopes found by scipy.

No document prints these; readings are means of the closed form over the meter's window, without
noise or with some that is seeded. A value may lie from the truth by what its own uncertainty says.
"""

import math
from collections.abc import Callable, Iterator
from functools import lru_cache, partial

import numpy as np
from numpy.polynomial import Chebyshev
from scipy import integrate, linalg, optimize

from ohmwright.estimation.departures import COURSE_COUNT, course_slopes, departure_columns
from ohmwright.estimation.settled_value import Settled, settled_value
from ohmwright.estimation.thermal_droop import Droop, Warmth
from ohmwright.installation.check import Check, Value, clause_checks

WINDOW_S, RATE_HZ, AT_S = 0.5, 5.0, 6.0
LEVEL_MA = 640.0


def test_agrees(check: Check, holds: Callable[[Check], None]) -> None:
    holds(check)


def checks() -> Iterator[Check]:
    yield from settled()
    yield from rests()
    yield from slopes()
    yield from free_motions()


# ---- settled values ------------------------------------------------------------------------


def droop(t: np.ndarray, part: float) -> np.ndarray:
    return 1.0 - part * (1.0 - np.exp(-t / 8.0))


def plain(t: np.ndarray) -> np.ndarray:
    since = np.maximum(t - 0.4, 0.0)
    rise = 1.0 - (0.9 * np.exp(-since / 0.9) - 0.1 * np.exp(-since / 0.1)) / 0.8
    return LEVEL_MA * rise * droop(t, 0.012)


def slow(t: np.ndarray) -> np.ndarray:
    since = np.maximum(t - 0.4, 0.0)
    return LEVEL_MA * (1.0 - np.exp(-since / 4.0)) * droop(t, 0.012)


TRUTH_MA = float(LEVEL_MA * droop(np.array([AT_S]), 0.012)[0])
# output, s of readings: why it has not settled, or that it has
REASONS: tuple[tuple[str, Callable[[np.ndarray], np.ndarray], float, Value], ...] = (
    ("plain, 10 s", plain, 10.0, "settled"),
    ("plain, 2 s", plain, 2.0, "the output is still rising or falling"),
    ("lag of 4 s, 5 s", slow, 5.0, "the output is still rising or falling"),
    ("plain, 0.9 s", plain, 0.9, "too few readings of a risen output"),
)


@lru_cache(maxsize=16)
def value_of(shape: Callable[[np.ndarray], np.ndarray], until_s: float, seed: int) -> Settled:
    age_s = np.arange(WINDOW_S, until_s, 1 / RATE_HZ)
    clean = [integrate.quad_vec(shape, age - WINDOW_S, age)[0] / WINDOW_S for age in age_s]
    noise = np.random.default_rng(seed).normal(0.0, 0.001, age_s.size)
    readings = np.round(np.array(clean) * (1.0 + noise), 1)
    return settled_value(age_s, readings, window_s=WINDOW_S, resolution=0.1)


def settled() -> Iterator[Check]:
    for seed in (1, 2):
        yield from clause_checks(
            *("closed form", f"output of 640 mA with droop, readings {seed}", "reference"),
            ("at 6 s, mA", TRUTH_MA, 1.2, lambda seed=seed: value_of(plain, 10.0, seed).value),
        )
    for what, shape, until_s, reason in REASONS:
        row = (what, reason, 0.0, partial(reason_of, shape, until_s))
        yield from clause_checks("closed form", "whether it has settled", "reference", row)


def reason_of(shape: Callable[[np.ndarray], np.ndarray], until_s: float) -> str:
    value = value_of(shape, until_s, 0)
    return "settled" if value.settled else value.reason


# ---- rests ---------------------------------------------------------------------------------

UNIT = Droop(0.02, (6.0, 11.0), (12.0, 21.0))


def rests() -> Iterator[Check]:
    """Until the uncertainty that a warm start leaves is allowed, found by scipy's brentq."""
    warm = Warmth(UNIT).heated(25.0)
    for allowed in (0.003, 0.001):
        expected = optimize.brentq(lambda s, a=allowed: left_after(s) - a, 0.0, 300.0)
        yield from clause_checks(
            *("scipy brentq", f"25 s of RF, {100 * allowed:g} % allowed", "reference"),
            ("rest, s", expected + 0.25, 0.25, partial(warm.rest_s, allowed, AT_S, 300.0)),
        )
    yield from clause_checks(
        *("scipy brentq", "25 s of RF, at most 10 s", "reference"),
        ("rest, s", 10.0, 0.0, lambda: warm.rest_s(0.001, AT_S, 10.0)),
        ("rest where all is allowed, s", 0.0, 0.0, lambda: warm.rest_s(0.1, AT_S, 300.0)),
    )


def left_after(rest_s: float) -> float:
    """GUM 4.3.7 of the largest loss at 6 s, the likely half of it being taken off."""
    likely = (1 - math.exp(-25.0 / 8.0)) * math.exp(-rest_s / 15.0) * math.exp(-AT_S / 8.0)
    most = (1 - math.exp(-25.0 / 6.0)) * math.exp(-rest_s / 21.0) * math.exp(-AT_S / 11.0)
    middle = 0.5 * 0.02 * likely
    return max(middle, 0.02 * most - middle) / math.sqrt(3.0)


# ---- slopes --------------------------------------------------------------------------------


def slopes() -> Iterator[Check]:
    """Of each course of the droop at the age asked for, by a polynomial through its column."""
    for index in range(COURSE_COUNT):
        near = Chebyshev.interpolate(partial(course, index), 10, domain=[AT_S - 0.5, AT_S + 0.5])
        expected = near.deriv()(AT_S)
        yield from clause_checks(
            *("numpy Chebyshev", f"course {index} of the droop", "reference"),
            ("per second at 6 s", float(expected), 1e-7, partial(slope_of, index)),
            ("0 at 6 s", 0.0, 1e-12, lambda i=index: float(course(i, np.array([AT_S]))[0])),
        )


def course(index: int, warm_s: np.ndarray) -> np.ndarray:
    flat = np.ravel(warm_s)
    columns = departure_columns(
        flat + 0.5, np.ones_like(flat), dead_time_s=0.4, pole_s=None, warm_s=flat, at_age_s=AT_S
    )
    return columns[:, index - COURSE_COUNT].reshape(np.shape(warm_s))


def slope_of(index: int) -> float:
    return float(course_slopes(AT_S)[index])


# ---- what an output may do beside rise and droop -------------------------------------------

CREEPS_S = (1.0, 1.4, 2.0, 2.8, 4.0, 5.6)
SWINGS_S = ((0.9, 3.0), (2.0, 6.0))  # time constant, period
OWN_S = (1.6, 4.2)  # of a rise that swings
WANDERS_S = (3.0, 4.5, 6.75, 10.1, 15.2, 22.8)  # periods: each 1.5 times the last
DEAD_S, SEEN_S = 0.4, 2.9


def free_motions() -> Iterator[Check]:
    """Each is a motion of a damped spring or of a decay, as their equations of motion say."""
    since_s = SEEN_S - DEAD_S
    motions = [
        *(spring(math.inf, period_s, SEEN_S)[0] for period_s in WANDERS_S),
        *(spring(math.inf, period_s, SEEN_S)[1] for period_s in WANDERS_S),
        *(float(linalg.expm(np.array([[-since_s / tau_s]]))[0, 0]) for tau_s in CREEPS_S),
        *(spring(*swing, since_s)[0] for swing in SWINGS_S),
        *(spring(*swing, since_s)[1] for swing in SWINGS_S),
    ]
    for index, expected in enumerate(motions):
        row = (f"column {index} at 2.9 s", expected, 1e-9, partial(column_at, index, SEEN_S))
        yield from clause_checks("scipy expm", "equations of motion", "reference", row)
    own = spring(*OWN_S, since_s)
    pole_s = 1 / complex(1 / OWN_S[0], math.tau / OWN_S[1])
    longer = (since_s / abs(pole_s) * part for part in own)
    first = len(WANDERS_S) * 2 + len(CREEPS_S)
    for index, expected in zip((0, 2, 1, 3), (*own, *longer), strict=True):
        shown = partial(column_at, first + index, SEEN_S, pole_s)
        row = (f"its own swing, column {index} at 2.9 s", expected, 1e-9, shown)
        yield from clause_checks("scipy expm", "a rise that swings", "reference", row)


def spring(tau_s: float, period_s: float, time_s: float) -> tuple[float, float]:
    """A damped sine and cosine of amplitude 1, from the equation of a point on a spiral."""
    rate = math.tau / period_s
    motion = linalg.expm(np.array([[-1 / tau_s, -rate], [rate, -1 / tau_s]]) * time_s)
    return float(motion[1, 0]), float(motion[0, 0])


def column_at(index: int, age_s: float, pole_s: complex | None = None) -> float:
    one = np.array([age_s])
    columns = departure_columns(
        one, np.ones(1), dead_time_s=DEAD_S, pole_s=pole_s, warm_s=one - 0.5, at_age_s=AT_S
    )
    return float(columns[0, index])
