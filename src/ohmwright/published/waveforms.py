"""RMS and crest factor of the usual shapes.

Textbook closed forms; every number was reproduced by numerical integration.
"""

import math
from collections.abc import Callable, Iterator
from functools import partial

import numpy as np

from ohmwright.published.checks import Check
from ohmwright.uncertainty import waveform
from ohmwright.uncertainty.waveform import Waveform

SHAPES: tuple[tuple[str, Callable[[], Waveform], float, float], ...] = (
    ("sine", partial(waveform.sine, 100.0), 70.7107, 1.4142),
    ("square", partial(waveform.square, 100.0), 100.0, 1.0),
    ("triangle or sawtooth", partial(waveform.triangle, 100.0), 57.7350, 1.7321),
    ("half-wave rectified", partial(waveform.half_wave_rectified_sine, 100.0), 50.0, 2.0),
    ("gated sine, duty 0.5", partial(waveform.gated_sine, 100.0, 0.5), 50.0, 2.0),
    ("gated sine, duty 0.25", partial(waveform.gated_sine, 100.0, 0.25), 35.3553, 2.8284),
    ("gated sine, duty 0.10", partial(waveform.gated_sine, 100.0, 0.10), 22.3607, 4.4721),
    ("gated sine, duty 0.06", partial(waveform.gated_sine, 100.0, 0.06), 17.3205, 5.7735),
    ("gated sine, duty 0.05", partial(waveform.gated_sine, 100.0, 0.05), 15.8114, 6.3246),
    ("pulse, duty 0.1", partial(waveform.rectangular_pulse, 100.0, 0.1), 31.6228, 3.1623),
)

# amplitude, decay in 1/s, frequency in Hz, repetition in s: RMS exact, RMS decayed, peak, crest
DAMPED = (
    (1000.0, 2e5, 500e3, 50e-6, 157.79445, 157.79445, 906.67162, 5.74590),
    (1000.0, 1e5, 450e3, 32e-6, 279.10930, 279.33385, 946.55117, 3.39133),
    (2500.0, 3e5, 390e3, 1e-3 / 30.0, 392.35527, 392.35527, 2078.10953, 5.29650),
    (1.0, 0.5, 1.0 / math.tau, 40.0, 0.1, 0.1, 0.5141984, 5.141984),
)


def checks() -> Iterator[Check]:
    """Shapes in closed form, one sampled, damped sines."""
    for name, shape, rms, crest in SHAPES:
        yield _check("Closed forms", f"RMS of {name}", rms, 6e-5, partial(_rms, shape))
        yield _check("Closed forms", f"crest factor of {name}", crest, 6e-5, partial(_crest, shape))
    yield _check("Sampled", "crest factor of a gated sine, int16", 4.4721, 1e-3, _sampled_crest)
    yield from _damped()


def _damped() -> Iterator[Check]:
    for *shape, rms, decayed, peak, crest in DAMPED:
        exact = partial(waveform.damped_sine, *shape)
        label = f"{shape[0]:g} V, {shape[1]:g} /s, {shape[2]:g} Hz"
        clause = "Repeated damped sine"
        yield _check(clause, f"RMS, {label}", rms, 6e-6, partial(_rms, exact))
        yield _check(
            clause,
            f"RMS once decayed, {label}",
            decayed,
            6e-6,
            partial(waveform.damped_sine_rms_decayed, *shape),
        )
        yield _check(clause, f"peak, {label}", peak, 6e-6, partial(_peak, exact))
        yield _check(clause, f"crest factor, {label}", crest, 6e-6, partial(_crest, exact))


def _check(
    clause: str, what: str, expected: float, tolerance: float, compute: Callable[[], float]
) -> Check:
    return Check("Waveforms", clause, what, expected, tolerance, compute, "reference")


def _rms(shape: Callable[[], Waveform]) -> float:
    return shape().rms


def _peak(shape: Callable[[], Waveform]) -> float:
    return shape().peak


def _crest(shape: Callable[[], Waveform]) -> float:
    return shape().crest_factor


def _sampled_crest() -> float:
    # 100 cycles on, 900 off, 64 samples a cycle.
    phase = math.tau * np.arange(64 * 1000) / 64.0
    counts = np.where(phase < math.tau * 100, 20000.0 * np.sin(phase), 0.0)
    return waveform.measure(np.round(counts).astype(np.int16), unit_per_count=0.01).crest_factor
