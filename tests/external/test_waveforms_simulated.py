"""Waveforms of the simulated generators against published closed forms.

Sine and gated sine: common practice, no source (RMS A/sqrt 2 and A sqrt(d/2)).
Repeated damped sine: RMS V0 w / sqrt(4 a (a^2 + w^2) T) when decayed within a repetition,
peak V0 exp(-a tp) sin(w tp) with tp = atan(w / a) / w: common practice, no source; the
figures below were computed from them by numerical integration (Simpson).
"""

from math import pi

import numpy as np
import pytest

from ohmwright.simulator.profile import DampedSine, GatedSine, Sine, Waveform
from ohmwright.simulator.waveforms import rms, waveform_samples


def crest_factor(waveform: Waveform, period_s: float) -> float:
    """Of one repetition in samples, which are scaled to an RMS value of 1."""
    rate_hz = 1024 * waveform.carrier_hz
    return float(np.max(np.abs(waveform_samples(waveform, rate_hz, round(period_s * rate_hz)))))


def test_sine() -> None:
    sine = Sine(kind="sine", carrier_hz=500e3)
    assert 100 * rms(sine) == pytest.approx(70.7107, abs=5e-5)
    assert crest_factor(sine, 2e-6) == pytest.approx(1.4142, abs=5e-5)


@pytest.mark.parametrize(
    ("duty", "crest"),
    [(0.5, 2.0), (0.25, 2.8284), (0.10, 4.4721), (0.06, 5.7735), (0.05, 6.3246)],
)
def test_gated_sine(duty: float, crest: float) -> None:
    gated = GatedSine(kind="gated sine", carrier_hz=500e3, repetition_hz=20e3, duty=duty)
    assert crest_factor(gated, 50e-6) == pytest.approx(crest, abs=5e-5)


@pytest.mark.parametrize(
    ("v0", "decay", "carrier_hz", "period_s", "rms_v", "peak_v", "crest"),
    [
        (1000, 2e5, 500e3, 50e-6, 157.79445, 906.67162, 5.74590),
        (1000, 1e5, 450e3, 32e-6, 279.10930, 946.55117, 3.39133),
        (2500, 3e5, 390e3, 1e-3 / 30, 392.35527, 2078.10953, 5.29650),
        (1, 0.5, 1 / (2 * pi), 40.0, 0.1, 0.5141984, 5.141984),
    ],
)
def test_damped_sine(
    v0: float,
    decay: float,
    carrier_hz: float,
    period_s: float,
    rms_v: float,
    peak_v: float,
    crest: float,
) -> None:
    damped = DampedSine(
        kind="damped sine",
        carrier_hz=carrier_hz,
        repetition_hz=1 / period_s,
        decay_per_s=decay,
    )
    assert v0 * rms(damped) == pytest.approx(rms_v, rel=1e-6)
    assert v0 * crest_factor(damped, period_s) * rms(damped) == pytest.approx(peak_v, rel=1e-5)
    assert crest_factor(damped, period_s) == pytest.approx(crest, rel=1e-5)
