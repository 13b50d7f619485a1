"""Captures against the closed forms."""

from math import sqrt

import numpy as np
import pytest

from ohmwright.simulator.profile import DampedSine, GatedSine, Sine, Waveform
from ohmwright.simulator.waveforms import pass_band, waveform_samples

SINE = Sine(kind="sine", carrier_hz=400e3)
GATED = GatedSine(kind="gated sine", carrier_hz=400e3, repetition_hz=20e3, duty=0.25)
DAMPED = DampedSine(kind="damped sine", carrier_hz=450e3, repetition_hz=31.25e3, decay_per_s=1e5)


@pytest.mark.parametrize(
    ("waveform", "crest"),
    # sqrt(2), sqrt(2 / 0.25), and by numerical integration (Simpson): common practice, no source
    [(SINE, 1.41421), (GATED, 2.82843), (DAMPED, 3.39133)],
)
def test_samples_have_the_crest_factor_of_the_closed_form(waveform: Waveform, crest: float) -> None:
    values = waveform_samples(waveform, 200e6, 160_000)  # 0.8 ms: whole repetitions
    assert np.sqrt(np.mean(values**2)) == pytest.approx(1.0, rel=1e-3)
    assert np.max(np.abs(values)) == pytest.approx(crest, rel=1e-3)


def test_start_shifts_the_capture() -> None:
    whole = waveform_samples(DAMPED, 10e6, 1000)
    assert waveform_samples(DAMPED, 10e6, 900, 100 / 10e6) == pytest.approx(whole[100:], abs=1e-9)


def test_bandwidth_takes_more_from_a_broad_spectrum() -> None:
    assert pass_band(SINE, 10e6) == pytest.approx(1 / sqrt(1 + 0.04**2), rel=1e-12)
    assert pass_band(DAMPED, 1e12) == pytest.approx(1.0, rel=1e-9)
    assert pass_band(GATED, 400e3) == pytest.approx(sqrt(0.5), rel=0.03)
    assert pass_band(DAMPED, 2e6) < pass_band(DAMPED, 10e6) < 1
