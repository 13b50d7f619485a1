import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from ohmwright.uncertainty import kernels, waveform

COUNTS = hnp.arrays(np.int16, st.integers(1, 300), elements=st.integers(-32768, 32767))


@given(COUNTS, st.floats(1e-6, 10.0))
def test_int16_is_exact(counts: np.ndarray, unit: float) -> None:
    exact = [int(count) for count in counts]
    measured = waveform.waveform_parameters(counts, unit_per_count=unit)
    mean_square = sum(count * count for count in exact) / len(exact)
    assert measured.rms == pytest.approx(unit * math.sqrt(mean_square), rel=1e-14)
    assert measured.peak == unit * max(abs(count) for count in exact)


@pytest.mark.parametrize("dtype", [np.float32, np.float64, np.int16, np.int32, np.uint8])
def test_chunks_join_without_a_seam(dtype: type) -> None:
    size = 2 * waveform.CHUNK_SAMPLES + 7
    samples = (np.arange(size) % 100).astype(dtype)
    samples[-1] = 120
    measured = waveform.waveform_parameters(samples)
    assert measured.peak == 120.0
    assert measured.rms == pytest.approx(math.sqrt(np.mean(samples.astype(float) ** 2)), rel=1e-12)


def test_a_strided_channel_is_measured_like_its_copy() -> None:
    channels = np.random.default_rng(2).normal(size=(5000, 2))
    strided, copied = (
        waveform.waveform_parameters(channels[:, 1]),
        waveform.waveform_parameters(channels[:, 1].copy()),
    )
    assert strided.peak == copied.peak
    assert strided.rms == pytest.approx(copied.rms, rel=1e-13)


def test_nan_is_not_swallowed() -> None:
    measured = waveform.waveform_parameters([1.0, math.nan, 3.0])
    assert math.isnan(measured.rms)
    assert math.isnan(measured.peak)


def test_zero_has_no_crest_factor() -> None:
    assert math.isnan(waveform.waveform_parameters(np.zeros(4)).crest_factor)


@pytest.mark.parametrize("samples", [[], np.zeros((2, 2))])
def test_a_record_is_one_dimensional_and_not_empty(samples: object) -> None:
    with pytest.raises(ValueError, match="one-dimensional"):
        waveform.waveform_parameters(samples)  # type: ignore[arg-type]


def test_the_compiled_loop_says_what_numpy_says() -> None:
    for size in (1, 1000, 8193):
        counts = np.random.default_rng(3).integers(-32768, 32768, size).astype(np.int16)
        assert kernels._int16_scan(counts) == waveform._scan(counts)


def test_short_records_do_not_wait_for_a_compiler() -> None:
    assert kernels.int16_kernel(np.zeros(1000, dtype=np.int16)) is None


SAMPLES_A_PERIOD = [2.2, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 12.0, 44.4]


def missed(decay: float, samples_a_period: float, begins: np.ndarray) -> np.ndarray:
    """By how much the peak of exp(-decay t) sin t exceeds the largest sample, over that sample.

    Brute force, one for each begin in 0 to 1: three periods are sampled, beginning that part of an
    interval after zero.
    """
    interval = math.tau / samples_a_period
    at = interval * (np.arange(math.ceil(3 * samples_a_period)) + begins[:, None])
    seen = np.abs(np.exp(-decay * at) * np.sin(at)).max(axis=1)
    peak_at = math.atan2(1.0, decay)
    return math.exp(-decay * peak_at) * math.sin(peak_at) / seen - 1.0


@pytest.mark.parametrize("samples_a_period", SAMPLES_A_PERIOD)
@pytest.mark.parametrize("decay", [0.0, 0.05, 0.1, 0.2, 1 / 3])
def test_no_sampling_misses_more_of_a_peak_than_is_said(
    samples_a_period: float, decay: float
) -> None:
    """From first principles; brute force by numpy, sines and damped trains at any phase."""
    begins = np.random.default_rng(5).random(2000)
    found = missed(decay, samples_a_period, begins)
    assert found.max() <= waveform.missed_peak(samples_a_period)
    assert found.min() >= -1e-12


@pytest.mark.parametrize("samples_a_period", [6.0, 8.0, 12.0, 44.0])
def test_what_is_said_to_be_missed_can_be(samples_a_period: float) -> None:
    """In step with the carrier every peak is missed alike; for decay the bound is wider."""
    begins = np.linspace(0.0, 1.0, 501)
    sine = 1.0 / math.cos(math.pi / samples_a_period) - 1.0
    assert missed(0.0, samples_a_period, begins).max() == pytest.approx(sine, rel=1e-3)
    said = waveform.missed_peak(samples_a_period)
    assert 0.97 * said < missed(1 / 3, samples_a_period, begins).max() <= said


def test_too_few_samples_say_nothing_of_a_peak() -> None:
    assert waveform.missed_peak(2.0) == math.inf
    assert waveform.missed_peak(0.3) == math.inf


@given(st.floats(0.001, 1.0))
def test_samples_needed_are_those_that_miss_no_more(share: float) -> None:
    needed = waveform.samples_needed(share)
    assert waveform.missed_peak(needed) == pytest.approx(share, rel=1e-9)
