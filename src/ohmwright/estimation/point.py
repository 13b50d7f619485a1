"""What is asked of one point, for adjusting and for verification."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Question:
    """Is the output in tolerance? All in the unit of the readings.

    `tolerance` is what lengths are counted in; the limits are `limits` where given, else so far
    to both sides of the target.
    `at_age_s`: the age of a rested activation at which the measurand holds; `window_s`: the time
    over which the meter averages before each reading.
    """

    target: float
    tolerance: float
    window_s: float
    resolution: float
    at_age_s: float = 6.0
    limits: tuple[float, float] | None = None

    @property
    def low(self) -> float:
        """The lower limit, in tolerances from the target."""
        return -1.0 if self.limits is None else (self.limits[0] - self.target) / self.tolerance

    @property
    def high(self) -> float:
        """The upper limit, in tolerances from the target."""
        return 1.0 if self.limits is None else (self.limits[1] - self.target) / self.tolerance


@dataclass(frozen=True)
class Keys:
    """Coached keys: what a coarse press is said to be worth, and how far that may be off."""

    coarse_counts: int = 10
    coarse_sd: float = 1.3


@dataclass(frozen=True)
class Expected:
    """The output at the start as earlier measurements of the unit have it, and how surely."""

    value: float
    sd: float


@dataclass(frozen=True)
class PointSpec:
    """One adjustment point. `largest_gain`: the most that one count is expected to do."""

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
