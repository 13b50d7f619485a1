"""What is asked of an output, and the readings of one activation that are to answer it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .coefficients import Coefficient, Steps
from .mixture import Mixture

Floats = NDArray[np.float64]


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
    `move_delay`: dead time and lags with which moves act, relative to those of the rise.
    """

    dynamics: Floats
    linear: Floats
    correlation: float
    variance: float
    move_delay: float = 1.0

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
