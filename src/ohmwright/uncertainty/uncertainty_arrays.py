"""The linear uncertainty budget for many points at once: a whole sweep, or a fleet's history."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ohmwright.uncertainty.distributions import coverage_factors

FloatArray = npt.NDArray[np.float64]
ArrayModel = Callable[..., FloatArray]

STEPS_PER_U = 16.0
# Points taken at a time, so that the intermediate arrays stay in the processor's cache.
BLOCK_POINTS = 1 << 13


@dataclass(frozen=True, slots=True)
class Budgets:
    """Budgets of n points with k inputs: shapes (n,), (n,), (n,) and (k, n)."""

    values: FloatArray
    standard_uncertainties: FloatArray
    effective_dof: FloatArray
    contributions: FloatArray

    def expanded(self, coverage: float = 0.95) -> FloatArray:
        """Expanded uncertainties, shape (n,), by Student's t with the effective dof."""
        return coverage_factors(self.effective_dof, coverage) * self.standard_uncertainties


def propagate_many(
    model: ArrayModel,
    values: npt.ArrayLike,
    standard_uncertainties: npt.ArrayLike,
    dof: Sequence[float] | None = None,
    correlation: npt.ArrayLike | None = None,
) -> Budgets:
    """Budgets of model(*values) for n points.

    `values` and `standard_uncertainties` have shape (k, n), or (k, 1) where a row is the same for
    every point; `model` takes k arrays. `dof` has one figure an input (infinite unless given),
    `correlation` is one k by k matrix of coefficients. With a correlation, effective degrees of
    freedom are the fewest of any input that contributes, which is safe but not sharp.
    """
    estimates = np.asarray(values, dtype=np.float64)
    spreads = np.asarray(standard_uncertainties, dtype=np.float64)
    shape = np.broadcast_shapes(estimates.shape, spreads.shape)
    estimates, spreads = np.broadcast_to(estimates, shape), np.broadcast_to(spreads, shape)
    results, contributions = np.empty(shape[1]), np.empty(shape)
    for start in range(0, shape[1], BLOCK_POINTS):
        block = slice(start, start + BLOCK_POINTS)
        results[block], contributions[:, block] = _differences(
            model, estimates[:, block], spreads[:, block]
        )
    freedom = np.full(shape[0], np.inf) if dof is None else np.asarray(dof, dtype=np.float64)
    squares = contributions * contributions
    if correlation is None:
        variances = squares.sum(axis=0)
        effective = _welch_satterthwaite(variances, squares, freedom)
    else:
        matrix = np.asarray(correlation, dtype=np.float64)
        variances = np.einsum("in,ij,jn->n", contributions, matrix, contributions)
        effective = np.where(squares > 0.0, freedom[:, None], np.inf).min(axis=0)
    return Budgets(results, np.sqrt(np.maximum(variances, 0.0)), effective, contributions)


def _differences(
    model: ArrayModel, values: FloatArray, spreads: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Model values, and each input's contribution c * u by central differences."""
    arguments = list(values)
    contributions = np.empty(values.shape)
    for index, spread in enumerate(spreads):
        step = spread / STEPS_PER_U
        arguments[index] = values[index] + step
        above = model(*arguments)
        arguments[index] = values[index] - step
        contributions[index] = above - model(*arguments)
        arguments[index] = values[index]
    contributions *= 0.5 * STEPS_PER_U
    return model(*arguments), contributions


def _welch_satterthwaite(
    variances: FloatArray, squares: FloatArray, freedom: FloatArray
) -> FloatArray:
    finite = np.isfinite(freedom)
    spread = np.zeros_like(variances)
    for parts, dof in zip(squares[finite], freedom[finite], strict=True):
        spread += parts * parts / dof
    effective = np.full_like(variances, np.inf)
    np.divide(variances * variances, spread, out=effective, where=spread > 0.0)
    return effective
