"""The crest factor of captured waveforms as a measured value with its budget."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf
from typing import NamedTuple

import numpy as np

from ohmwright.instruments.analyzer import WaveformCapture
from ohmwright.model.hardware import DigitiserData
from ohmwright.model.result import Measured, Sample
from ohmwright.uncertainty.budget import combine
from ohmwright.uncertainty.hf_effects import bandwidth_loss
from ohmwright.uncertainty.inputs import Input, from_readings, rectangular, resolution_uncertainty
from ohmwright.uncertainty.waveform import missed_peak, waveform_parameters

from .measured_value import CAPTURES, measured_of_budget

FEWEST_CAPTURES = 3
"""Differing waveforms that a value needs."""
_BITS_SENT = 16
"""Of a sample as the analyzer sends it; a digitiser may have fewer."""
_NEVER_STATED = ("noise at the peak",)
"""What no data can be given for: it makes the largest of many samples a little too large."""


class WaveformShape(NamedTuple):
    """Crest factor of one captured waveform, and its uncertainty from the digitiser."""

    crest_factor: float
    """NaN where no current flowed."""
    per_count: float
    """Change of the crest factor by one count of the digitiser at the peak."""
    clipped: bool = False
    """Whether the peak lies at the end of the digitiser's range, or beyond it."""


@dataclass(frozen=True)
class CaptureLimits:
    """What digitising may change of a crest factor, as shares of it; None: no data are given."""

    sampling: float | None = None
    """By a peak between two samples; infinite where the samples say nothing of a peak."""
    bandwidth: float | None = None
    bits_stated: bool = False

    @property
    def left_out(self) -> tuple[str, ...]:
        """The names of the effects that a budget lacks."""
        lacking = {
            "sampling": self.sampling is None,
            "digitiser's bandwidth": self.bandwidth is None,
            "digitiser's bits": not self.bits_stated,
        }
        return (*(name for name, lacks in lacking.items() if lacks), *_NEVER_STATED)


NO_DATA = CaptureLimits()
"""Of a digitiser and an output of which nothing is stated."""


def capture_limits(
    digitiser: DigitiserData, carrier_hz: float | None, interval_s: float
) -> CaptureLimits:
    """Return the limits for captures of a carrier, sampled every `interval_s` seconds.

    A bandwidth lowers peak and RMS value of a carrier alike. What is left, for waveforms without
    jumps, is less than the loss of the carrier itself, which is taken as its limit.
    """
    sampling = bandwidth = None
    if carrier_hz is not None:
        if interval_s > 0:
            sampling = missed_peak(1 / (carrier_hz * interval_s))
        if digitiser.bandwidth_hz is not None:
            bandwidth = bandwidth_loss(carrier_hz, digitiser.bandwidth_hz)
    return CaptureLimits(sampling, bandwidth, digitiser.bits is not None)


def waveform_shape(captured: WaveformCapture, bits: int | None = None) -> WaveformShape:
    """Return the crest factor of one capture, and its change by one count.

    `bits`: of the digitiser, whose samples may fill the upper or the lower bits of those sent;
    None takes every bit sent for one of the digitiser's.
    """
    seen = waveform_parameters(captured.counts)  # the scale falls out of the ratio
    counts = _count(captured, _BITS_SENT if bits is None else bits)
    most = counts * (2 ** ((_BITS_SENT if bits is None else bits) - 1) - 1)
    per_count = counts * seen.crest_factor / seen.peak if seen.peak else 0.0
    return WaveformShape(seen.crest_factor, per_count, seen.peak >= most)


def _count(captured: WaveformCapture, bits: int) -> int:
    """Return one count of a digitiser of `bits`, in counts as sent: all samples are whole ones."""
    divisor = int(np.gcd.reduce(captured.counts.astype(np.int32)))
    return min(max(divisor, 1), 1 << (_BITS_SENT - bits))


def mean_crest_factor(
    shapes: Sequence[WaveformShape], age_s: float, limits: CaptureLimits = NO_DATA
) -> Measured | None:
    """Return the mean crest factor with its uncertainty; None with too few captures or samples.

    Captures begin anywhere in the waveform, so they are independent. A scale error of meter or
    digitiser cancels in the ratio. Captures that are all alike have no scatter, yet the uncertainty
    of a count at the peak. `age_s`: the age that the value holds at.
    """
    found = [shape for shape in shapes if shape.crest_factor >= 1.0]
    if len(found) < FEWEST_CAPTURES or limits.sampling == inf:
        return None
    mean = from_readings(CAPTURES, [shape.crest_factor for shape in found])
    a_count = resolution_uncertainty(max(shape.per_count for shape in found))
    inputs = [mean, Input("quantisation", 0.0, a_count, distribution="rectangular")]
    for name, share in (
        ("sampling", limits.sampling),
        ("digitiser's bandwidth", limits.bandwidth),
    ):
        if share is not None:
            inputs.append(rectangular(name, 0.0, share * mean.value))
    budget = combine(mean.value, inputs, [1.0] * len(inputs))
    return measured_of_budget(budget, "crest_factor", age_s, limits.left_out)


@dataclass(frozen=True)
class CapturedWaveforms:
    """The waveforms captured in one activation, and its readings."""

    captures: int
    """Number of waveforms captured."""
    shapes: tuple[WaveformShape, ...]
    """Shapes of the captures that differ: an identical waveform was sent twice, not captured
    twice."""
    on_s: float
    samples: tuple[Sample, ...]
    excess: str = ""
    limits: CaptureLimits = NO_DATA

    def measured(self, age_s: float) -> Measured | None:
        """Return the mean crest factor; None with too few captures, or with one out of range."""
        if any(shape.clipped for shape in self.shapes):
            return None
        return mean_crest_factor(self.shapes, age_s, self.limits)

    @property
    def why_no_value(self) -> str:
        """Why there is none, where `measured` gives none."""
        if any(shape.clipped for shape in self.shapes):
            return "a waveform reaches the end of the digitiser's range"
        if self.limits.sampling == inf:
            return "the samples are too far apart to show a peak"
        if len(self.shapes) < FEWEST_CAPTURES <= self.captures:
            return "the analyzer gave the same waveform again instead of a new one"
        return "too few waveforms with a current in them"
