"""Input quantities of a measurement model, and the distributions that they may have.

An input has an estimate, a standard uncertainty and a distribution. Probabilities of the normal and
Student's t distribution come without scipy.stats, which takes a second to import.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

MeasurementModel = Callable[..., Any]
"""Takes a float for each input and returns one, or arrays of one shape likewise."""
Distribution = Literal["normal", "student t", "rectangular"]

# Correlation coefficients by pair of labels; a pair not named is uncorrelated.
Correlations = Mapping[tuple[str, str], float]

_STANDARD = NormalDist()
_SQRT_HALF = math.sqrt(0.5)


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
    shared: str | None = None
    """Name of the error, where other values have the very same one; None where none has."""
    scatter: str = ""
    """Name of the scatter that its degrees of freedom are of, where other inputs have the same."""

    def __post_init__(self) -> None:
        if not 0.0 <= self.standard_uncertainty < math.inf or not self.dof > 0.0:
            raise ValueError(
                f"{self.label}: a standard uncertainty is a finite number not below zero and "
                f"degrees of freedom are above zero; got u = {self.standard_uncertainty}, "
                f"dof = {self.dof}"
            )


def rectangular(label: str, value: float, half_width: float, shared: str | None = None) -> Input:
    """Return an input uniformly distributed over value +- half_width: u = half_width / sqrt(3)."""
    return Input(
        label, value, half_width / math.sqrt(3.0), distribution="rectangular", shared=shared
    )


def accuracy_input(
    label: str, accuracy: float, coverage_factor: float | None, shared: str | None = None
) -> Input:
    """Return a stated accuracy as an input about zero: normal with its k, without one rectangular.

    With `coverage_factor` it is an expanded uncertainty, else a limit of error (GUM 4.3.3, 4.3.7).
    """
    if coverage_factor is None:
        return rectangular(label, 0.0, accuracy, shared)
    return Input(label, 0.0, accuracy / coverage_factor, shared=shared)


def resolution_uncertainty(step: float) -> float:
    """Return the standard uncertainty of a display that counts in `step`: step / sqrt(12).

    GUM F.2.2.1.
    """
    return step / math.sqrt(12.0)


def from_readings(label: str, readings: npt.ArrayLike, resolution: float = 0.0) -> Input:
    """Return the mean of n independent readings, shape (n,), with u = s / sqrt(n) and n - 1 dof.

    Type A evaluation. Where that u is smaller than resolution / sqrt(12), the latter is returned,
    with infinite dof. Raises ValueError for a shape other than (n,) and for n below 2.
    """
    centre, residuals = _deviations(readings)
    count = residuals.size
    if count < 2:
        raise ValueError(f"{label}: one reading says nothing of its own scatter; take more")
    dof = count - 1.0
    uncertainty = math.sqrt(float(residuals @ residuals) / (count * dof))
    least = resolution_uncertainty(resolution)
    # Readings that are all alike have no scatter to take degrees of freedom from.
    if uncertainty < least or uncertainty == 0.0:
        return Input(label, centre, least, distribution="rectangular")
    return Input(label, centre, uncertainty, dof, "student t")


def _deviations(readings: npt.ArrayLike) -> tuple[float, npt.NDArray[np.float64]]:
    """Return the mean of a series, shape (n,), and the deviations from it, shape (n,)."""
    series = np.asarray(readings, dtype=np.float64)
    if series.ndim != 1 or series.size == 0:
        raise ValueError(f"expected a non-empty one-dimensional series, got shape {series.shape}")
    # Shifting by the first reading first keeps the digits of a small scatter on a large level.
    first = float(series[0])
    shifted = series - first
    centre = float(shifted.mean())
    return first + centre, shifted - centre


def correlation_matrix(
    inputs: Sequence[Input], correlations: Correlations
) -> npt.NDArray[np.float64]:
    """Return the symmetric matrix (n, n) of correlation coefficients in the order of `inputs`.

    Raises ValueError for an unknown label, a coefficient outside -1 to 1, or coefficients whose
    matrix is not positive semidefinite.
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


def normal_cdf(z: float) -> float:
    """Return the probability that a standard normal variable lies below `z`.

    Keeps its relative accuracy far into the lower tail.
    """
    return 0.5 * math.erfc(-z * _SQRT_HALF)


def normal_quantile(probability: float) -> float:
    """Return the `z` below which a standard normal variable lies with this probability.

    Raises statistics.StatisticsError for 0 and 1.
    """
    return _STANDARD.inv_cdf(probability)


def t_cdf(t: float, dof: float) -> float:
    """Return the probability that Student's t with `dof` degrees of freedom lies below `t`."""
    if math.isinf(dof):
        return normal_cdf(t)
    from scipy.special import stdtr

    return float(stdtr(dof, t))


def t_quantile(probability: float, dof: float) -> float:
    """Return the `t` below which Student's t with `dof` degrees of freedom lies with `probability`.

    nan for a probability outside 0 to 1.
    """
    if math.isinf(dof):
        return normal_quantile(probability)
    from scipy.special import stdtrit

    return float(stdtrit(dof, probability))


@lru_cache(maxsize=4096)
def coverage_factor(dof: float = math.inf, coverage: float = 0.95) -> float:
    """Return the half width, in standard uncertainties, of the symmetric interval of a coverage.

    GUM table G.2. `dof` need not be a whole number; GUM G.6.4 truncates effective degrees of
    freedom with math.floor first. Raises ValueError for dof not above 0 or coverage outside (0, 1).
    """
    if not dof > 0.0 or not 0.0 < coverage < 1.0:
        raise ValueError(f"no coverage factor for {dof} degrees of freedom and coverage {coverage}")
    return t_quantile(0.5 + 0.5 * coverage, dof)
