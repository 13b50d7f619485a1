"""Propagation of distributions by Monte Carlo, as JCGM 101 describes it.

For results whose linear budget is not valid: a strongly nonlinear model, or one dominant input that
is not normal. The results of a seed are reproducible to the last bit.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ohmwright.uncertainty.inputs import Correlations, Input, MeasurementModel, correlation_matrix

FloatArray = npt.NDArray[np.float64]

# JCGM 101 7.9.4 takes trials in sequences of 10^4; they also fit the processor's cache.
SEQUENCE_TRIALS = 10_000
MAXIMUM_TRIALS = 10_000_000


@dataclass(frozen=True, slots=True)
class Interval:
    """A coverage interval with its ends in the unit of the result."""

    low: float
    high: float

    @property
    def width(self) -> float:
        """High end less low end."""
        return self.high - self.low


@dataclass(frozen=True, slots=True, eq=False)
class Trials:
    """Model values of all trials, ascending, shape (trials,), their mean and standard deviation."""

    ordered: FloatArray
    mean: float
    standard_uncertainty: float

    def symmetric_interval(self, coverage: float = 0.95) -> Interval:
        """Return the interval with equally many trials below and above it (JCGM 101 7.7.2).

        Raises ValueError where there are too few trials for the coverage.
        """
        held = math.floor(coverage * self.ordered.size + 0.5)
        if not 0 < held < self.ordered.size:
            raise ValueError(f"{self.ordered.size} trials hold no interval of coverage {coverage}")
        first = (self.ordered.size - held + 1) // 2
        return Interval(float(self.ordered[first]), float(self.ordered[first + held]))


def simulate_adaptively(
    model: MeasurementModel,
    inputs: Sequence[Input],
    seed: int,
    significant_digits: int = 2,
    coverage: float = 0.95,
    correlations: Correlations | None = None,
    fewest_trials: int = 2 * SEQUENCE_TRIALS,
) -> Trials:
    """Return as many trials as the adaptive procedure of JCGM 101 clause 7.9 needs.

    Sequences of 10^4 trials are added until mean, standard uncertainty and both ends of the
    symmetric interval are stable: twice the standard deviation of their averages over the sequences
    is within half a unit of the last of `significant_digits` of u. At least `fewest_trials`. Raises
    ValueError if 10^7 trials do not suffice, or if an input that is not normal is correlated.
    """
    sequences = _sequences(model, inputs, seed, correlations)
    parts: list[FloatArray] = []
    figures: list[tuple[float, float, float, float]] = []
    while len(parts) * SEQUENCE_TRIALS < MAXIMUM_TRIALS:
        parts.append(next(sequences))
        summary = _summary(parts[-1].copy())
        interval = summary.symmetric_interval(coverage)
        figures.append((summary.mean, summary.standard_uncertainty, interval.low, interval.high))
        enough = len(parts) * SEQUENCE_TRIALS >= max(fewest_trials, 2 * SEQUENCE_TRIALS)
        if enough and _stable(figures, significant_digits):
            return _summary(np.concatenate(parts))
    raise ValueError(
        f"{MAXIMUM_TRIALS} trials do not settle {significant_digits} digits of the uncertainty; "
        "ask for fewer digits, or look for an input whose distribution has no variance"
    )


def drawn_deviation(standard_uncertainty: float, dof: float) -> float:
    """Return the standard deviation of draws from Student's t whose scale is an uncertainty.

    It is larger than the scale by sqrt(dof / (dof - 2)) (JCGM 101 6.4.9, from memory), infinite for
    dof of 2 or fewer.
    """
    if math.isinf(dof):
        return standard_uncertainty
    return standard_uncertainty * math.sqrt(dof / (dof - 2.0)) if dof > 2.0 else math.inf


def numerical_tolerance(standard_uncertainty: float, significant_digits: int = 2) -> float:
    """Return half a unit of the last significant digit of u, delta of JCGM 101 clause 7.9.2."""
    # u = c * 10^l with c a whole number of that many digits. Rounding first: 0.0999 is 10e-2.
    exponent = int(f"{standard_uncertainty:.{significant_digits - 1}e}".partition("e")[2])
    return float(0.5 * 10.0 ** (exponent - significant_digits + 1))


def _stable(figures: Sequence[tuple[float, float, float, float]], significant_digits: int) -> bool:
    table = np.array(figures)
    deviations = table.std(axis=0, ddof=1) / math.sqrt(len(figures))
    delta = numerical_tolerance(float(table[:, 1].mean()), significant_digits)
    return bool(2.0 * deviations.max() <= delta)


def _summary(values: FloatArray) -> Trials:
    mean = float(values.mean())
    deviation = float(values.std(ddof=1, mean=mean))
    values.sort()
    return Trials(values, mean, deviation)


def _sequences(
    model: MeasurementModel, inputs: Sequence[Input], seed: int, correlations: Correlations | None
) -> Iterator[FloatArray]:
    """Yield sequences of 10^4 model values without end, all drawn from one random generator."""
    generator = np.random.default_rng(seed)
    mixing = None if not correlations else _mixing(inputs, correlations)
    while True:
        draws = [_unit_draws(generator, item) for item in inputs]
        if mixing is not None:
            draws = list(mixing @ np.array(draws))
        for draw, item in zip(draws, inputs, strict=True):
            draw *= item.standard_uncertainty
            draw += item.value
        yield np.asarray(model(*draws), dtype=np.float64)


def _unit_draws(generator: np.random.Generator, item: Input) -> FloatArray:
    """Return 10^4 draws about 0 in units of the standard uncertainty of `item`."""
    size = SEQUENCE_TRIALS
    match item.distribution:
        case "normal":
            return generator.standard_normal(size)
        case "student t" if math.isinf(item.dof):
            return generator.standard_normal(size)
        case "student t":
            return generator.standard_t(item.dof, size)
        case "rectangular":
            return math.sqrt(12.0) * (generator.random(size) - 0.5)


def _mixing(inputs: Sequence[Input], correlations: Correlations) -> FloatArray:
    """Return the matrix (n, n) that gives independent draws the correlations.

    Raises ValueError for a correlated input that is not normal.
    """
    named = {label for pair in correlations for label in pair}
    odd = [i.label for i in inputs if i.label in named and i.distribution != "normal"]
    if odd:
        raise ValueError(
            f"{', '.join(odd)}: only normal inputs can be drawn with a correlation; give their "
            "distribution as normal, or the cause they share as an input of its own"
        )
    eigenvalues, vectors = np.linalg.eigh(correlation_matrix(inputs, correlations))
    # The symmetric root leaves an uncorrelated input's own draws alone.
    root: FloatArray = (vectors * np.sqrt(np.maximum(eigenvalues, 0.0))) @ vectors.T
    return root
