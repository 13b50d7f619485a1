"""RMS, peak and crest factor: of sampled waveforms, and in closed form for the usual shapes."""

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
class Waveform:
    """What a load feels (RMS) and what an insulation feels (peak magnitude), in one same unit."""

    rms: float
    peak: float

    @property
    def crest_factor(self) -> float:
        """Peak over RMS; nan for a waveform that is zero throughout."""
        return self.peak / self.rms if self.rms != 0.0 else math.nan


def measure(samples: npt.ArrayLike, unit_per_count: float = 1.0) -> Waveform:
    """RMS and peak of a one-dimensional sampled waveform, read once, chunk by chunk.

    `samples` may be floats or the integers of a digitiser, which are never converted as a whole;
    `unit_per_count` is the value of one count. A direct component counts, as it does for heating.
    The record should span a whole number of repetitions. A nan in the samples gives nan.
    Raises ValueError for an empty or not one-dimensional record.
    """
    record = np.asarray(samples)
    if record.ndim != 1 or record.size == 0:
        raise ValueError(f"expected a non-empty one-dimensional record, got shape {record.shape}")
    kernel = int16_kernel(record)
    square_sum, low, high = _scan(record) if kernel is None else kernel(record)
    peak = math.nan if math.isnan(square_sum) else float(max(high, -low))
    scale = abs(unit_per_count)
    return Waveform(rms=scale * math.sqrt(square_sum / record.size), peak=scale * peak)


def _scan(record: npt.NDArray[np.generic]) -> tuple[float, float, float]:
    """Sum of squares, lowest and highest sample."""
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
    if floats.size % ROW_SAMPLES:
        whole = floats.size // ROW_SAMPLES * ROW_SAMPLES
        rest = floats[whole:]
        return float(np.dot(rest, rest)) + (_square_sum(floats[:whole]) if whole else 0.0)
    rows = floats.reshape(-1, ROW_SAMPLES)
    return float(np.add.reduce(np.vecdot(rows, rows)))


def sine(amplitude: float) -> Waveform:
    """A continuous sine: crest factor sqrt(2)."""
    return Waveform(rms=amplitude / math.sqrt(2.0), peak=amplitude)


def gated_sine(amplitude: float, duty: float) -> Waveform:
    """A sine that is on for the fraction `duty` (0 to 1) of the time, in whole half cycles."""
    return _gated(sine(amplitude), duty)


def square(amplitude: float) -> Waveform:
    """A square wave without direct component: crest factor 1."""
    return Waveform(rms=amplitude, peak=amplitude)


def rectangular_pulse(amplitude: float, duty: float) -> Waveform:
    """A unipolar pulse that stands at `amplitude` for the fraction `duty` of the time."""
    return _gated(square(amplitude), duty)


def triangle(amplitude: float) -> Waveform:
    """A triangle or sawtooth wave: crest factor sqrt(3)."""
    return Waveform(rms=amplitude / math.sqrt(3.0), peak=amplitude)


def half_wave_rectified_sine(amplitude: float) -> Waveform:
    """A sine with one polarity left out: RMS is half the amplitude."""
    return gated_sine(amplitude, 0.5)


def damped_sine(
    amplitude: float, decay_per_s: float, frequency_hz: float, repeat_s: float
) -> Waveform:
    """v(t) = amplitude exp(-decay t) sin(2 pi f t), started anew every `repeat_s` seconds; exact.

    The peak is the first maximum: the repetition must be longer than a quarter cycle.
    """
    omega = math.tau * frequency_hz
    if decay_per_s <= 0.0 or repeat_s * omega < math.pi / 2.0:
        raise ValueError("a damped sine needs a decay above zero and at least a quarter cycle")
    a, phase = decay_per_s, 2.0 * omega * repeat_s
    left = math.exp(-2.0 * a * repeat_s)
    direct = (1.0 - left) / (2.0 * a)
    ripple = 2.0 * a - left * (2.0 * a * math.cos(phase) - 2.0 * omega * math.sin(phase))
    mean_square = (direct - ripple / (4.0 * (a * a + omega * omega))) / (2.0 * repeat_s)
    peak_s = math.atan2(omega, a) / omega
    peak = abs(amplitude) * math.exp(-a * peak_s) * math.sin(omega * peak_s)
    return Waveform(rms=abs(amplitude) * math.sqrt(mean_square), peak=peak)


def damped_sine_rms_decayed(
    amplitude: float, decay_per_s: float, frequency_hz: float, repeat_s: float
) -> float:
    """RMS of a damped sine that has died away before it repeats: A w / sqrt(4 a (a^2 + w^2) T)."""
    omega = math.tau * frequency_hz
    spread = 4.0 * decay_per_s * (decay_per_s**2 + omega**2) * repeat_s
    return abs(amplitude) * omega / math.sqrt(spread)


def _gated(waveform: Waveform, duty: float) -> Waveform:
    if not 0.0 < duty <= 1.0:
        raise ValueError(f"a duty lies above 0 and up to 1, got {duty}")
    return Waveform(rms=waveform.rms * math.sqrt(duty), peak=waveform.peak)
