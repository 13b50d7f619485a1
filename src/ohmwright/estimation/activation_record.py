"""What is asked of an output, the readings of one activation, and whether more would answer it."""

from __future__ import annotations

from dataclasses import dataclass
from math import log, sqrt
from statistics import NormalDist
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from .coefficients import Coefficient, Steps
from .mixture import Mixture

Floats = NDArray[np.float64]

CONFIDENCE = 0.95
"""Least probability, by the readings, with which a value is said to lie on its side of a limit."""
_PRECISE = 0.15
"""Standard deviation, in tolerances, above which readings may bring a surprise, as of hunting that
is not understood yet: then it is not foretold what they will say."""
_SMALL_CHANCE = 0.3
"""A chance below this is not worth more RF. It is a hopeful one: of 160 looks at points whose
chance was between 0.2 and 0.4, five of them were decided later (`scripts/bench/worlds`, nominal and
lag 3 s, seed 8701)."""
_EARLIER = 0.8
"""Part of the latest age at which it was looked to see how fast the standard deviation falls."""
_SLOWEST, _QUICKEST = 0.5, 1.5
"""Powers of the age with which a standard deviation may be expected to fall; white noise gives the
first."""
_POOLED = 1 / sqrt(2)
"""Standard deviation of two values pooled that are alike, over that of one."""

_STANDARD = NormalDist()
_DECISIVE = _STANDARD.inv_cdf(CONFIDENCE)
"""Distance from a limit, in standard deviations, with which a side is known."""


@dataclass(frozen=True)
class Question:
    """What decides whether an output is in tolerance; values in the unit of the readings.

    Deviations are counted in `tolerance`; the limits are `limits` (lower, upper) where given, else
    one tolerance to both sides of the target. `at_age_s`: age of a rested activation at which the
    measurand holds; `window_s`: time over which the meter averages before each reading;
    `resolution`: the meter's last digit.
    """

    target: float
    tolerance: float
    window_s: float
    resolution: float
    at_age_s: float = 6.0
    limits: tuple[float, float] | None = None

    def in_tolerances(self, value: Mixture) -> Mixture:
        """A value in the unit of the readings, as tolerances from the target."""
        return value.rescaled(self.target, self.tolerance)

    def in_readings(self, value: Mixture) -> Mixture:
        """A value in tolerances from the target, in the unit of the readings."""
        return value.rescaled(-self.target / self.tolerance, 1 / self.tolerance)

    @property
    def low(self) -> float:
        """Lower limit, in tolerances from the target."""
        return -1.0 if self.limits is None else (self.limits[0] - self.target) / self.tolerance

    @property
    def high(self) -> float:
        """Upper limit, in tolerances from the target."""
        return 1.0 if self.limits is None else (self.limits[1] - self.target) / self.tolerance


Average = Literal["mean", "squares", "filter"]
"""How readings come from the output: as its mean over a window, as the root of the mean of its
squares over that, or by a filter of first order. No data file states squares: they are found."""
AVERAGES: tuple[Average, ...] = get_args(Average)
_OF_A_FILTER = 0.05


def mean_window_s(window_s: float, averaging: str) -> float:
    """Return the time over which a reading of a meter is a plain mean, or one of squares, in s.

    That of a filter is short against `window_s`: it is one lag more, and found with those of the
    output. A mean over all of `window_s` would answer a change sooner, and be done with it.
    """
    return _OF_A_FILTER * window_s if averaging == "filter" else window_s


@dataclass(frozen=True)
class ActivationRecord:
    """One activation's readings, relative to the point's target, and what drove the output."""

    age_s: Floats
    """Age of each reading, the end of its window, shape (n,)."""
    relative: Floats
    """The readings over the target, shape (n,)."""
    steps: Steps
    window_s: float
    """Time over which the meter averages before each reading."""
    resolution: float
    """The meter's last digit over the target."""
    at_age_s: float
    """Age of a rested activation at which the measurand holds."""
    heat: float
    """Warmth at the start, 0 rested to 1 warm through."""
    averaging: Average = "mean"
    """How the readings are taken to come from the output."""

    @property
    def averaged_s(self) -> float:
        """Time over which each reading averages, by its `averaging`."""
        return mean_window_s(self.window_s, self.averaging)

    @classmethod
    def of(
        cls, question: Question, age_s: Floats, value: Floats, steps: Steps, heat: float
    ) -> ActivationRecord:
        """Readings at `age_s`, (n,), `value` in the unit of the question; `heat` at the start."""
        target = question.target
        return cls(
            age_s=age_s,
            relative=value / target,
            steps=steps,
            window_s=question.window_s,
            resolution=question.resolution / target,
            at_age_s=question.at_age_s,
            heat=heat,
        )


@dataclass(frozen=True)
class FitStart:
    """Where a fit ended: a good start for the next one, with a few readings more.

    `dynamics` (3,): logarithms of lag s, dead time s and ratio of the poles (of a rise that swings,
    of its sharpness); `linear` (5,): the
    linear coefficients; `correlation` of neighbouring readings and `variance` of the noise;
    `move_delay`: dead time and lags with which moves act, relative to those of the rise;
    `averaging`: how the readings were taken to come from the output.
    """

    dynamics: Floats
    linear: Floats
    correlation: float
    variance: float
    move_delay: float = 1.0
    averaging: Average = "mean"

    @property
    def swings(self) -> bool:
        """Whether the rise swings, as no rise by two lags does."""
        return bool(self.dynamics[-1] > 0)

    @property
    def droop(self) -> float:
        """Output that a stage warm through has lost, relative to the target."""
        return float(self.linear[Coefficient.DROOP])

    @property
    def move_times(self) -> Floats:
        """Lag s, dead time s and ratio of the poles with which moves act, shape (3,)."""
        times: Floats = np.exp(self.dynamics) * [self.move_delay, self.move_delay, 1.0]
        return times


def chance_to_decide(distance: float, narrower: float) -> float:
    """Return the probability that a value will be known to lie on one side of a limit.

    `distance`: from the limit, in present standard deviations; `narrower`: what the standard
    deviation will come to, over the present one, below 1. The value moves meanwhile by what it is
    off now, as far as that is found out.
    """
    moves, needed = sqrt(1 - narrower**2), _DECISIVE * narrower
    return _STANDARD.cdf((distance - needed) / moves) + _STANDARD.cdf((-distance - needed) / moves)


def is_in_vain(distance: float, sd: float, narrower: float = _POOLED) -> bool:
    """Return whether a value is known well, yet hardly to be told from its nearest limit.

    `distance`, `sd`: in tolerances; `narrower`: see `chance_to_decide`, else another value like it
    that is pooled with it.
    """
    return 0 < sd <= _PRECISE and chance_to_decide(distance / sd, narrower) < _SMALL_CHANCE


class Prospect:
    """Foretells what the rest of an activation, and another one, may still decide.

    `until_s`: the age at which the activation ends at the latest.
    """

    def __init__(self, until_s: float) -> None:
        self._until_s = until_s
        self._looks: list[tuple[float, float]] = []
        """Ages in s and the standard deviations by then, in tolerances."""

    def is_in_vain(self, age_s: float, distance: float, sd: float) -> bool:
        """Take a look at a value, and return whether more readings of it are in vain.

        `distance`: from its nearest limit; `sd`: its standard deviation, both in tolerances.
        """
        self._looks.append((age_s, sd))
        earlier = [look for look in self._looks if look[0] <= _EARLIER * age_s]
        if not earlier or sd <= 0:
            return False
        then_s, then_sd = earlier[-1]
        power = log(max(then_sd / sd, 1.0)) / log(age_s / then_s)
        share = min(1.0, age_s / self._until_s) ** min(_QUICKEST, max(_SLOWEST, power))
        return is_in_vain(distance, sd, _POOLED * share)
