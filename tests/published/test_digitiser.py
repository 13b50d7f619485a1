"""What a digitiser of N bits leaves open of a crest factor, from captures as it sends them.

Codes of N bits in two's complement end at 2^(N-1) - 1 and are uncertain by a count / sqrt(12)
(IEEE 1241 and GUM F.2.2.1, from memory); the rest is exact arithmetic.
"""

import math
from collections.abc import Callable, Iterator
from functools import partial

import numpy as np

from ohmwright.engine.crest_factor_value import (
    NO_DATA,
    CapturedWaveforms,
    CaptureLimits,
    WaveformShape,
    capture_limits,
    mean_crest_factor,
    waveform_shape,
)
from ohmwright.installation.check import Check, clause_checks
from ohmwright.instruments.analyzer import WaveformCapture
from ohmwright.model.hardware import DigitiserData
from ohmwright.model.result import Measured

CODES = "IEEE 1241, codes of two's complement"
CREST = math.sqrt(2.0)
# bits of the digitiser, bits that its codes are shifted up by, peak in codes as sent, one count
CAPTURES = ((12, 0, 1000, 1), (12, 4, 16_000, 16), (8, 8, 25_600, 256), (16, 0, 10_001, 1))
CLIPPED = "a waveform reaches the end of the digitiser's range"
# bits stated, shift, largest code of the capture, whether that is the end of the range
ENDS = (
    (12, 0, 2047, CLIPPED),
    (12, 0, 2046, "whole"),
    (12, 4, 32_752, CLIPPED),
    (12, 4, 32_736, "whole"),
    (16, 0, 32_767, CLIPPED),
    (16, 0, 32_766, "whole"),
    (None, 0, 32_767, CLIPPED),
    (None, 0, 32_766, "whole"),
)
FEW_SEEN = "too few waveforms with a current in them"
SAME_AGAIN = "the analyzer gave the same waveform again instead of a new one"
# captures, crest factors of those that differ: value, or why there is none
FEW = (
    (2, (2.0, 2.0), FEW_SEEN),
    (3, (2.0, 2.0), SAME_AGAIN),
    (3, (2.0, 2.0, 2.0), "value"),
    (3, (2.0, 2.0, math.nan), FEW_SEEN),
    (3, (1.0, 1.0, 1.0), "value"),  # a square wave's
    (3, (0.99, 2.0, 2.0), FEW_SEEN),  # below any waveform's
)


def test_agrees(check: Check, holds: Callable[[Check], None]) -> None:
    holds(check)


def checks() -> Iterator[Check]:
    for bits, shift, peak, count in CAPTURES:
        u = count * CREST / peak / math.sqrt(12.0)
        of = partial(alike, bits, shift, peak)
        yield from clause_checks(
            *("GUM (JCGM 100:2008)", f"F.2.2.1, {bits} bits sent as {shift} higher", "from memory"),
            (f"u of the crest factor, peak {peak}", u, 2e-3 * u, lambda of=of: of().uncertainty),
        )
    for bits, shift, code, expected in ENDS:
        row = (f"{bits} bits, {code}", expected, 0.0, partial(end_of_range, bits, shift, code))
        yield from clause_checks(CODES, f"codes sent as {shift} higher", "from memory", row)
    for captures, crests, expected in FEW:
        row = (f"{captures}, {crests}", expected, 0.0, partial(valued, captures, crests))
        yield from clause_checks("exact arithmetic", "three captures at least", "reference", row)
    yield from stated()


def capture(shift: int, peak: int) -> WaveformCapture:
    """A sine of 64 samples a period with this peak, in codes as sent: all are multiples."""
    step = 1 << shift
    sine = np.round(np.sin(math.tau * np.arange(6400) / 64) * peak / step) * step
    return WaveformCapture(sine.astype(np.int16), 1e-3, 1 / (64 * 450e3))


def alike(bits: int, shift: int, peak: int) -> Measured:
    return value_of([waveform_shape(capture(shift, peak), bits)] * 4)


def value_of(shapes: list[WaveformShape], limits: CaptureLimits = NO_DATA) -> Measured:
    found = mean_crest_factor(shapes, 6.0, limits)
    assert found is not None
    return found


def end_of_range(bits: int | None, shift: int, code: int) -> str:
    shapes = [waveform_shape(capture(shift, peak), bits) for peak in (code, code // 2, code // 4)]
    found = CapturedWaveforms(3, tuple(shapes), 1.0, ())
    return found.why_no_value if found.measured(6.0) is None else "whole"


def valued(captures: int, crests: tuple[float, ...], limits: CaptureLimits = NO_DATA) -> str:
    shapes = tuple(WaveformShape(crest, 0.001) for crest in crests)
    found = CapturedWaveforms(captures, shapes, 1.0, (), limits=limits)
    return found.why_no_value if found.measured(6.0) is None else "value"


def stated() -> Iterator[Check]:
    """A carrier of 450 kHz, a bandwidth of 4.5 MHz: 1 - 1 / |1 + 0.1 j| of the crest factor."""
    lost = 1.0 - 1.0 / abs(complex(1.0, 0.1))
    yield from clause_checks(
        *("GUM (JCGM 100:2008)", "4.3.7, bandwidth ten times the carrier", "reference"),
        ("u of a crest factor of 2", 2.0 * lost / math.sqrt(3.0), 1e-9, lambda: line("bandwidth")),
    )
    # A sine is as far as half an interval from its peak: of 8 samples a period, pi / 8.
    least = 1.0 / math.cos(math.pi / 8.0) - 1.0
    yield from clause_checks(
        *("closed form", "a sine of 8 samples a period", "reference"),
        ("sampling covers it", "covered", 0.0, lambda: covers(least)),
        ("by no more than a damped train needs", "narrow", 0.0, lambda: narrow(least)),
        (
            "two samples a period",
            "the samples are too far apart to show a peak",
            0.0,
            lambda: valued(3, (2.0, 2.0, 2.0), limits_at(2)),
        ),
        ("eight samples a period", "value", 0.0, lambda: valued(3, (2.0, 2.0, 2.0), limits_at(8))),
    )


def limits_at(samples_a_period: int) -> CaptureLimits:
    data = DigitiserData(bandwidth_hz=4.5e6, bits=16)
    return capture_limits(data, 450e3, 1 / (samples_a_period * 450e3))


def line(name: str) -> float:
    """Standard uncertainty of the line whose name ends so, of a crest factor of 2."""
    budget = value_of([WaveformShape(2.0, 0.001)] * 3, limits_at(8)).budget
    return next(one.standard_uncertainty for one in budget if one.source.endswith(name))


def covers(least: float) -> str:
    half_width = line("sampling") * math.sqrt(3.0) / 2.0
    return "covered" if half_width >= least else "not covered"


def narrow(least: float) -> str:
    """One whose amplitude falls by the third of an angle is curved by 10/9 at its peak."""
    half_width = line("sampling") * math.sqrt(3.0) / 2.0
    return "narrow" if half_width <= 1.13 * least else "wide"
