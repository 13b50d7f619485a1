"""RMS, peak and crest factor of sampled waveforms."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from ohmwright.uncertainty.kernels import int16_kernel

# A chunk of this many samples stays in the processor's cache while its three figures are taken,
# and is long enough that the call overhead does not show. Its squares are added up by rows too
# short for the linear algebra library to start threads, which cost more than they give here.
ROW_SAMPLES = 1 << 13
CHUNK_SAMPLES = 8 * ROW_SAMPLES


@dataclass(frozen=True, slots=True)
class WaveformParameters:
    """RMS and peak magnitude of a waveform, both in the unit of its samples."""

    rms: float
    peak: float

    @property
    def crest_factor(self) -> float:
        """Peak over RMS; nan for a waveform that is zero throughout."""
        return self.peak / self.rms if self.rms != 0.0 else math.nan


def waveform_parameters(samples: npt.ArrayLike, unit_per_count: float = 1.0) -> WaveformParameters:
    """Return RMS and peak of a sampled waveform, shape (n,), in units of `unit_per_count`.

    `samples` may be floats or the integers of a digitiser; `unit_per_count` is the value of one
    count. A direct component is part of the RMS, as it is of heating. The record should span a
    whole number of repetitions. A nan in the samples gives nan. Raises ValueError for an empty
    record and for a shape other than (n,).
    """
    record = np.asarray(samples)
    if record.ndim != 1 or record.size == 0:
        raise ValueError(f"expected a non-empty one-dimensional record, got shape {record.shape}")
    kernel = int16_kernel(record)
    square_sum, low, high = _scan(record) if kernel is None else kernel(record)
    peak = math.nan if math.isnan(square_sum) else float(max(high, -low))
    scale = abs(unit_per_count)
    return WaveformParameters(rms=scale * math.sqrt(square_sum / record.size), peak=scale * peak)


_DAMPING = 1.0 / 3.0
"""Largest decay rate of a train of damped sines, over its angular frequency, that is allowed for:
one whose amplitude falls to an eighth within a period."""


def missed_peak(samples_per_period: float) -> float:
    """Return the most by which a peak may exceed the largest sample, over that sample.

    From first principles. Between two samples a sine is at most half an interval, pi / n radians,
    from its peak, where it has fallen by 1 - cos(pi / n). A sine that decays at the rate a is
    curved by w^2 + a^2 at its peak instead of w^2 (its differential equation at x' = 0), which the
    factor allows for. Infinite up to about two samples a carrier period: they say nothing of it.
    """
    fallen = (1.0 + _DAMPING**2) * (1.0 - math.cos(math.pi / max(samples_per_period, 1.0)))
    return fallen / (1.0 - fallen) if fallen < 1.0 else math.inf


def samples_needed(missed: float) -> float:
    """Return the samples per carrier period at which `missed_peak` is `missed`."""
    fallen = missed / (1.0 + missed)
    return math.pi / math.acos(1.0 - fallen / (1.0 + _DAMPING**2))


def _scan(record: npt.NDArray[np.generic]) -> tuple[float, float, float]:
    """Return sum of squares, lowest and highest sample, reading the record once, in chunks."""
    # Squares of int16 add up exactly in float64: 2^30 times 2^16 samples is below 2^53.
    buffer = np.empty(min(record.size, CHUNK_SAMPLES), dtype=np.float64)
    square_sum, low, high = 0.0, math.inf, -math.inf
    for start in range(0, record.size, CHUNK_SAMPLES):
        chunk = floats = record[start : start + CHUNK_SAMPLES]
        low, high = min(low, _lowest(chunk)), max(high, _highest(chunk))
        if chunk.dtype != np.float64:
            floats = buffer[: chunk.size]
            np.copyto(floats, chunk)
        square_sum += _square_sum(floats)
    return square_sum, float(low), float(high)


_lowest, _highest = np.minimum.reduce, np.maximum.reduce


def _square_sum(floats: npt.NDArray[Any]) -> float:
    """Return the sum of squares of floats, shape (n,), by rows of `ROW_SAMPLES`."""
    if floats.size % ROW_SAMPLES:
        whole = floats.size // ROW_SAMPLES * ROW_SAMPLES
        rest = floats[whole:]
        return float(np.dot(rest, rest)) + (_square_sum(floats[:whole]) if whole else 0.0)
    rows = floats.reshape(-1, ROW_SAMPLES)
    return float(np.add.reduce(np.vecdot(rows, rows)))
