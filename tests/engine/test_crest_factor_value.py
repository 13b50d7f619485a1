"""Crest factors of captures: the budget covers what sampling, bits and bandwidth change."""

import math

import numpy as np
import pytest

from ohmwright.engine.crest_factor_value import (
    CapturedWaveforms,
    CaptureLimits,
    capture_limits,
    mean_crest_factor,
    waveform_shape,
)
from ohmwright.instruments.analyzer import WaveformCapture
from ohmwright.model.hardware import DigitiserData
from ohmwright.model.result import Measured

CARRIER_HZ = 450e3
SAMPLES = 8192


def capture(
    samples_a_period: float, begin: float, *, decay: float = 0.0, bits: int = 16, left: bool = False
) -> WaveformCapture:
    """A sine, or a train of damped sines every 16 periods, at half the range of `bits`.

    `begin`: in samples; `decay`: over the angular frequency; `left`: in the upper bits of 16.
    """
    angle = math.tau * (np.arange(SAMPLES) + begin) / samples_a_period
    into = angle % (16 * math.tau) if decay else angle
    volts = np.exp(-decay * into) * np.sin(into)
    counts = np.round(volts * 2 ** (bits - 2)) * (2 ** (16 - bits) if left else 1)
    return WaveformCapture(counts.astype(np.int16), 1e-3, 1 / (samples_a_period * CARRIER_HZ))


def measured(captures: list[WaveformCapture], data: DigitiserData) -> Measured:
    limits = capture_limits(data, CARRIER_HZ, captures[0].interval_s)
    found = mean_crest_factor([waveform_shape(one, data.bits) for one in captures], 6.0, limits)
    assert found is not None
    return found


def lines(value: Measured) -> dict[str, float]:
    return {line.source: line.standard_uncertainty for line in value.budget}


@pytest.mark.parametrize("bits", [8, 12, 16])
@pytest.mark.parametrize("samples_a_period", [4.0, 5.3, 8.0, 16.0, 44.4])
def test_u_covers_a_sine_sampled_in_step_and_out_of_step(
    samples_a_period: float, bits: int
) -> None:
    """Three captures in a row at each of many phases, against the crest factor of a sine."""
    data = DigitiserData(bits=bits)
    rng = np.random.default_rng(8)
    for begin in rng.random(40):
        alike = [capture(samples_a_period, begin + n * 1e-4, bits=bits) for n in range(3)]
        value = measured(alike, data)
        assert abs(value.value - math.sqrt(2)) <= value.expanded


@pytest.mark.parametrize("samples_a_period", [5.3, 8.0, 16.0, 44.4])
def test_u_covers_a_damped_train(samples_a_period: float) -> None:
    decay = 0.1
    into = np.linspace(0, 16 * math.tau, 1_600_001)
    volts = np.exp(-decay * into) * np.sin(into)
    true = float(volts.max() / np.sqrt(np.mean(volts**2)))
    rng = np.random.default_rng(9)
    within = []
    for _ in range(40):
        captures = [capture(samples_a_period, 1e4 * rng.random(), decay=decay) for _ in range(8)]
        value = measured(captures, DigitiserData(bits=16))
        within.append(abs(value.value - true) <= value.expanded)
    assert sum(within) >= 37  # 95 % of 40, less what chance takes from that


def test_slower_samples_widen_the_line_of_sampling() -> None:
    def sampling(samples_a_period: float) -> float:
        captures = [capture(samples_a_period, 0.1 * n) for n in range(3)]
        return lines(measured(captures, DigitiserData()))["sampling"]

    assert sampling(8.0) > 3.5 * sampling(16.0) > 0


@pytest.mark.parametrize("left", [False, True])
def test_one_count_is_one_of_the_digitisers_whichever_bits_it_fills(left: bool) -> None:
    captures = [capture(44.4, 7.3 * n, bits=8, left=left) for n in range(3)]
    value = measured(captures, DigitiserData(bits=8))
    # the peak is 64 counts, and a count is anywhere within itself: GUM F.2.2.1, from memory
    assert lines(value)["quantisation"] == pytest.approx(value.value / 64 / math.sqrt(12), rel=0.02)


def test_unstated_bits_take_every_bit_sent_for_the_digitisers() -> None:
    captures = [capture(44.4, 7.3 * n, bits=8, left=True) for n in range(3)]
    value = measured(captures, DigitiserData())
    assert lines(value)["quantisation"] == pytest.approx(
        value.value / (64 * 256) / math.sqrt(12), rel=0.02
    )
    assert "digitiser's bits" in value.left_out


def test_equal_captures_leave_an_uncertainty() -> None:
    value = measured([capture(8.0, 0.3)] * 5, DigitiserData(bits=16))
    assert value.uncertainty > 0
    assert set(lines(value)) == {"quantisation", "sampling"}
    assert all(line.evaluation == "B" for line in value.budget)


def test_a_square_wave_of_two_levels_has_a_count_all_the_same() -> None:
    square = np.where(np.arange(4096) % 32 < 16, 9000, -9000).astype(np.int16)
    seen = waveform_shape(WaveformCapture(square, 1e-3, 5e-8), 12)
    assert seen.per_count == pytest.approx(16 / 9000)
    assert not seen.clipped


@pytest.mark.parametrize(
    ("bits", "peak", "clipped"),
    [
        (None, 32767, True),
        (None, -32768, True),
        (None, 32766, False),
        (12, 2047, True),
        (12, -2048, True),
        (12, 2046, False),
        (12, 2047 * 16, True),
        (12, 2046 * 16, False),
    ],
)
def test_a_peak_at_the_end_of_the_range_is_clipped(
    bits: int | None, peak: int, clipped: bool
) -> None:
    step = 16 if abs(peak) > 2048 and bits else 1
    counts = np.array([0, step, 3 * step, peak, -step], dtype=np.int16)
    assert waveform_shape(WaveformCapture(counts, 1e-3, 5e-8), bits).clipped == clipped


def test_what_no_data_are_given_for_is_named() -> None:
    nothing = capture_limits(DigitiserData(bandwidth_hz=1e7), None, 5e-8)
    assert nothing == CaptureLimits()
    assert nothing.left_out == (
        "sampling",
        "digitiser's bandwidth",
        "digitiser's bits",
        "noise at the peak",
    )
    whole = capture_limits(DigitiserData(bandwidth_hz=1e7, bits=14), CARRIER_HZ, 5e-8)
    assert whole.left_out == ("noise at the peak",)
    assert capture_limits(DigitiserData(), CARRIER_HZ, 0.0).sampling is None


def test_samples_too_far_apart_are_told_from_too_few_waveforms() -> None:
    far_apart = CapturedWaveforms(0, (), 1.0, (), limits=CaptureLimits(sampling=math.inf))
    assert far_apart.why_no_value == "the samples are too far apart to show a peak"
    assert CapturedWaveforms(0, (), 1.0, ()).why_no_value.startswith("too few waveforms")
