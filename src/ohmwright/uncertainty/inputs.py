"""Input quantities of a measurement model: what each is worth, and how it is distributed."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from ohmwright.uncertainty import autocorrelation

Distribution = Literal["normal", "student t", "rectangular", "arcsine"]

# Correlation coefficients by pair of labels; a pair not named is uncorrelated.
Correlations = Mapping[tuple[str, str], float]


@dataclass(frozen=True, slots=True)
class Input:
    """One input quantity: estimate, standard uncertainty (same unit), degrees of freedom.

    For "student t" the standard uncertainty is the scale s / sqrt(n), as the GUM uses it.
    """

    label: str
    value: float
    standard_uncertainty: float
    dof: float = math.inf
    distribution: Distribution = "normal"

    def __post_init__(self) -> None:
        if not 0.0 <= self.standard_uncertainty < math.inf or not self.dof > 0.0:
            raise ValueError(
                f"{self.label}: a standard uncertainty is a finite number not below zero and "
                f"degrees of freedom are above zero; got u = {self.standard_uncertainty}, "
                f"dof = {self.dof}"
            )


def rectangular(label: str, value: float, half_width: float, dof: float = math.inf) -> Input:
    """Anywhere within value +- half_width, all equally likely: u = a / sqrt(3)."""
    return Input(label, value, half_width / math.sqrt(3.0), dof, "rectangular")


def arcsine(label: str, value: float, half_width: float) -> Input:
    """Swings within value +- half_width, the ends most likely: u = a / sqrt(2)."""
    return Input(label, value, half_width / math.sqrt(2.0), distribution="arcsine")


def resolution_uncertainty(step: float) -> float:
    """Standard uncertainty of reading a display in steps: step / sqrt(12), GUM F.2.2.1."""
    return step / math.sqrt(12.0)


def from_readings(
    label: str, readings: npt.ArrayLike, resolution: float = 0.0, lag1: float | None = None
) -> Input:
    """Type A evaluation of repeated readings, with their autocorrelation and the display's steps.

    The uncertainty of the mean is sqrt(sum of squared deviations / (n (n_eff - 1))), unbiased for
    correlated readings (A. Zieba, Metrol. Meas. Syst. 17, 2010, from memory) and s / sqrt(n) for
    independent ones; degrees of freedom are n_eff - 1. `lag1` is the autocorrelation to use where
    it is known; otherwise it is estimated from the readings and corrected for the low bias of that
    estimate. The result is never below resolution / sqrt(12), which has infinite dof.

    Raises ValueError where the readings are too few for their correlation.
    """
    centre, residuals = autocorrelation.deviations(readings)
    count = residuals.size
    squares = float(residuals @ residuals)
    floor = Input(label, centre, resolution_uncertainty(resolution), distribution="rectangular")
    if count > 1 and squares == 0.0:
        return floor
    if lag1 is None:
        lag1 = unbiased_lag1(readings)
    spare = autocorrelation.effective_size_ar1(count, lag1) - 1.0
    if spare <= 0.0:
        raise ValueError(
            f"{label}: {count} readings with lag-1 autocorrelation {lag1:.2f} are worth only one "
            "independent reading, so they say nothing of their own scatter; take more readings"
        )
    uncertainty = math.sqrt(squares / (count * spare))
    if uncertainty < floor.standard_uncertainty:
        return floor
    return Input(label, centre, uncertainty, spare, "student t")


def unbiased_lag1(readings: npt.ArrayLike) -> float:
    """Lag-1 autocorrelation with the low bias of short series taken out, not above 0.99.

    For an AR(1) series the estimate r1 averages rho - (1 + 4 rho) / n (Marriott and Pope 1954,
    from memory; a simulation agrees to 0.02 from n = 10 on); this solves it for rho.
    Raises ValueError for fewer than eight readings, which cannot tell.
    """
    count = np.size(np.asarray(readings))
    if count < 8:
        raise ValueError(
            f"{count} readings are too few to estimate their autocorrelation; take at least 8, "
            "or state the autocorrelation (0 for independent readings)"
        )
    estimate = autocorrelation.lag1_autocorrelation(readings)
    return min(0.99, (count * estimate + 1.0) / (count - 4.0))


def paired_correlation(first: npt.ArrayLike, second: npt.ArrayLike) -> float:
    """Correlation of two means from readings taken together (GUM 5.2.3); nan if one is constant."""
    _, left = autocorrelation.deviations(first)
    _, right = autocorrelation.deviations(second)
    scale = math.sqrt(float(left @ left) * float(right @ right))
    return float(left @ right) / scale if scale > 0.0 else math.nan


def correlation_matrix(
    inputs: Sequence[Input], correlations: Correlations
) -> npt.NDArray[np.float64]:
    """Symmetric matrix of correlation coefficients in the order of `inputs`.

    Raises ValueError for an unknown label, a coefficient outside -1 to 1, or a set of coefficients
    that no quantities can have together.
    """
    position = {item.label: index for index, item in enumerate(inputs)}
    matrix = np.eye(len(inputs))
    for (first, second), coefficient in correlations.items():
        if first not in position or second not in position or first == second:
            raise ValueError(f"correlation between {first!r} and {second!r}: no such two inputs")
        matrix[position[first], position[second]] = coefficient
        matrix[position[second], position[first]] = coefficient
    if np.abs(matrix).max() > 1.0 or np.linalg.eigvalsh(matrix)[0] < -1e-9:
        raise ValueError(f"these correlation coefficients cannot hold together: {correlations}")
    return matrix
