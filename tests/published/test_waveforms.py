"""RMS and crest factor of the usual shapes, sampled and measured as a crest factor step does it.

Common practice, no source: textbook closed forms; every number was found again by numerical
integration (Simpson).
"""

import math
from collections.abc import Callable, Iterator
from functools import partial

import numpy as np

from ohmwright.engine.crest_factor_value import WaveformShape, mean_crest_factor, waveform_shape
from ohmwright.installation.check import Check, clause_checks
from ohmwright.instruments.analyzer import WaveformCapture
from ohmwright.model.result import Measured
from ohmwright.uncertainty.waveform import waveform_parameters

# 1000 cycles of 128 samples: the grid meets peaks and edges
CYCLE = np.arange(128_000) / 128.0
SINE = np.sin(math.tau * CYCLE)


def gated(wave: np.ndarray, duty: float) -> np.ndarray:
    return np.where(1000.0 * duty > CYCLE, wave, 0.0)


# shape: samples of amplitude 1, RMS at 100 V, crest factor
SHAPES = {
    "sine": (SINE, 70.7107, 1.4142),
    "square": (np.where(CYCLE % 1.0 < 0.5, 1.0, -1.0), 100.0, 1.0),
    "triangle": (1.0 - 4.0 * np.abs(CYCLE % 1.0 - 0.5), 57.7350, 1.7321),
    "full-wave rectified": (np.abs(SINE), 70.7107, 1.4142),
    "half-wave rectified": (np.maximum(SINE, 0.0), 50.0, 2.0),
    "gated sine, duty 0.5": (gated(SINE, 0.5), 50.0, 2.0),
    "gated sine, duty 0.25": (gated(SINE, 0.25), 35.3553, 2.8284),
    "gated sine, duty 0.10": (gated(SINE, 0.10), 22.3607, 4.4721),
    "gated sine, duty 0.06": (gated(SINE, 0.06), 17.3205, 5.7735),
    "gated sine, duty 0.05": (gated(SINE, 0.05), 15.8114, 6.3246),
    "pulse, duty 0.1": (gated(np.ones_like(SINE), 0.1), 31.6228, 3.1623),
}
# amplitude, decay in 1/s, frequency in Hz, repetition in s: RMS, peak, crest factor
DAMPED = (
    (1000.0, 2e5, 500e3, 50e-6, 157.79445, 906.67162, 5.74590),
    (1000.0, 1e5, 450e3, 32e-6, 279.10930, 946.55117, 3.39133),
    (2500.0, 3e5, 390e3, 1e-3 / 30.0, 392.35527, 2078.10953, 5.29650),
    (1.0, 0.5, 1.0 / math.tau, 40.0, 0.1, 0.5141984, 5.141984),
)


def test_agrees(check: Check, holds: Callable[[Check], None]) -> None:
    holds(check)


def checks() -> Iterator[Check]:
    for name, (samples, rms, crest) in SHAPES.items():
        yield from clause_checks(
            *("Closed forms", name, "reference"),
            ("RMS at 100 V, V", rms, 0.02, partial(rms_of, 100.0 * samples)),
            ("crest factor", crest, 6e-4, partial(crest_of, samples)),
        )
    yield from clause_checks(
        *("GUM (JCGM 100:2008)", "4.2.3 and F.2.2.1, mean of four captures", "from memory"),
        (
            "u where they scatter by 0.1",
            0.0645497,
            1e-6,
            lambda: mean_of(2.0, 1e-4, 0.1).uncertainty,
        ),
        ("U, t for 3 degrees of freedom", 0.205427, 1e-5, lambda: mean_of(2.0, 1e-4, 0.1).expanded),
        (
            "u where they are alike, 0.01 a count",
            0.00288675,
            1e-7,
            lambda: mean_of(2.0, 0.01, 0).uncertainty,
        ),
    )
    for amplitude, decay, frequency_hz, repeat_s, rms, peak, crest in DAMPED:
        samples = damped(decay, frequency_hz, repeat_s)
        # A sum over 400,000 samples stands for the integral to about 1e-7.
        yield from clause_checks(
            *("Repeated damped sine", f"{decay:g} /s, {frequency_hz:g} Hz", "reference"),
            ("RMS", rms, 2e-6 * rms, partial(rms_of, amplitude * samples)),
            ("peak", peak, 1e-5 * peak, partial(peak_of, amplitude * samples)),
            ("crest factor", crest, 2e-4 * crest, partial(crest_of, samples)),
        )


def mean_of(crest: float, per_count: float, spread: float) -> Measured:
    """The mean of four captures with these crest factors, evenly `spread`."""
    shapes = [WaveformShape(crest + spread * step, per_count) for step in (-1.5, -0.5, 0.5, 1.5)]
    found = mean_crest_factor(shapes, 6.0)
    assert found is not None
    return found


def damped(decay_per_s: float, frequency_hz: float, repeat_s: float) -> np.ndarray:
    time_s = np.arange(400_000) / 400_000 * repeat_s
    return np.exp(-decay_per_s * time_s) * np.sin(math.tau * frequency_hz * time_s)


def rms_of(volts: np.ndarray) -> float:
    return waveform_parameters(volts).rms


def peak_of(volts: np.ndarray) -> float:
    return waveform_parameters(volts).peak


def crest_of(samples: np.ndarray) -> float:
    """Of a capture in counts."""
    counts = np.round(30_000 * samples / np.max(np.abs(samples))).astype(np.int16)
    return waveform_shape(WaveformCapture(counts, 1e-4, 1e-6)).crest_factor
