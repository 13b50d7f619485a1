"""Allan and related deviations of a meter's readings, by averaging time (NIST SP 1065).

They tell how long averaging helps: where the deviation stops falling, drift has taken over.
Readings are evenly spaced; `span` is the averaging time in readings.
"""

import math

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


def allan_deviation(readings: npt.ArrayLike, span: int) -> float:
    """Allan deviation of adjacent means over `span` readings, without overlap."""
    sums = _sums(readings, span)[::span]
    return _deviation(np.diff(sums, n=2) / span, 2.0)


def overlapping_allan_deviation(readings: npt.ArrayLike, span: int) -> float:
    """The same from every start, which uses the data better."""
    return _deviation(_difference(_sums(readings, span), span, 2) / span, 2.0)


def modified_allan_deviation(readings: npt.ArrayLike, span: int) -> float:
    """Modified Allan deviation: averages over the start too, so it tells fast noises apart."""
    sums = _sums(readings, span)
    # The moving average of second differences is a third difference of the running sum.
    running = np.concatenate(([0.0], np.cumsum(sums)))
    seconds = _difference(running, span, 3) / span**2
    return _deviation(seconds, 2.0)


def time_deviation(readings: npt.ArrayLike, span: int) -> float:
    """Time deviation: span / sqrt(3) times the modified Allan deviation."""
    return span / math.sqrt(3.0) * modified_allan_deviation(readings, span)


def hadamard_deviation(readings: npt.ArrayLike, span: int) -> float:
    """Hadamard deviation: blind to a steady drift, so it shows the noise beneath one."""
    sums = _sums(readings, span)[::span]
    return _deviation(np.diff(sums, n=3) / span, 6.0)


def overlapping_hadamard_deviation(readings: npt.ArrayLike, span: int) -> float:
    """The same from every start."""
    return _deviation(_difference(_sums(readings, span), span, 3) / span, 6.0)


def _sums(readings: npt.ArrayLike, span: int) -> FloatArray:
    """Running sum from zero; the mean level is taken off, which no deviation sees."""
    series = np.asarray(readings, dtype=np.float64)
    if not 1 <= span <= series.size // 2:
        raise ValueError(
            f"an averaging span lies from 1 to half the number of readings, got {span} "
            f"for {series.size}"
        )
    return np.concatenate(([0.0], np.cumsum(series - series.mean())))


def _difference(sums: FloatArray, span: int, order: int) -> FloatArray:
    for _ in range(order):
        sums = sums[span:] - sums[:-span]
    return sums


def _deviation(differences: FloatArray, divisor: float) -> float:
    if differences.size == 0:
        raise ValueError("too few readings for this averaging span")
    return math.sqrt(float(np.mean(differences**2)) / divisor)
