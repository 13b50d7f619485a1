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
