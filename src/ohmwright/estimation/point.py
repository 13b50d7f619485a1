"""What one point asks of the output: target, tolerance, times, and how its trim is moved."""

from __future__ import annotations

from dataclasses import dataclass

from .mixture import Mixture


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
class Keys:
    """Keys that a person presses to move a trim; a fine press is one count.

    `coarse_counts`: nominal size of a coarse press; `coarse_sd`: its standard deviation, counts.
    """

    coarse_counts: int = 10
    coarse_sd: float = 1.3


@dataclass(frozen=True)
class Expected:
    """Output with the trim at its start, as earlier measurements of the unit predict it.

    `value` and its standard uncertainty `sd` in the unit of the readings.
    """

    value: float
    sd: float


@dataclass(frozen=True)
class PointSpec:
    """One adjustment point.

    `timeout_s`: longest activation; `rest_s`: rest between activations; `keys`: None where the trim
    is moved by remote control; `largest_gain`: largest change per count to be expected, in the
    unit of the readings.
    """

    question: Question
    timeout_s: float
    rest_s: float
    keys: Keys | None = None
    largest_gain: float = 6.0
    range: tuple[int, int] | None = None
    """Lowest and highest counts from the start that the trim can reach; None if not known."""
    moves_while_on: bool = True
    """Whether the trim can be moved while RF is on."""
    expected: Expected | None = None
