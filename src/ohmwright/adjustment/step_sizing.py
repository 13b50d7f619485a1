"""How far a trim is moved: first to see what it does, then towards the target."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ohmwright.adjustment.point import PointSpec
from ohmwright.estimation.coefficients import Coefficient, combination
from ohmwright.estimation.mixture import Mixture

from .actions import Action, Press
from .parameters import Parameters
from .trim import Trim

Floats = NDArray[np.float64]

FINE_GAIN = combination({Coefficient.GAIN: 1.0})
"""Combination, shape (8,), that is the gain per count, or per press of the fine key."""

_FARTHEST_EXCURSIONS = 2.2
"""Largest distance from the target to which a probe may bring the output, in largest excursions."""
_LEAST_EXCURSION = 0.3
"""Part of the largest excursion that is always allowed: a smaller probe would show nothing."""


class StepSizer:
    """Sizes each step of one trim. Outputs and gains are relative to the target, gains per count.

    `probes`: number of probes so far, steps that were to show what the trim does.
    """

    def __init__(self, spec: PointSpec, parameters: Parameters, trim: Trim) -> None:
        self.spec, self.trim = spec, trim
        self.tolerance = spec.question.tolerance / spec.question.target
        """The point's tolerance relative to its target."""
        self.probes = 0
        self.seen_gain = 0.0
        """Largest gain that this unit's readings have shown beyond doubt; 0 while none."""
        probing, moving = parameters.probing, parameters.moving
        self._probing, self._moving = probing, moving
        self._least_error_tolerances, self._excursion = (
            (moving.least_error_tolerances, probing.excursion_relative)
            if spec.keys is None
            else (moving.key_least_error_tolerances, probing.key_excursion_relative)
        )

    def coarse_gain(self) -> Floats:
        """Combination (8,): gain per nominal count of the coarse key; without keys, per count."""
        keys = self.spec.keys
        if keys is None:
            return FINE_GAIN
        return FINE_GAIN + combination({Coefficient.COARSE_PRESS: 1.0}) / keys.coarse_counts

    def next_move(
        self,
        output: Mixture,
        coarse_gain: Mixture,
        fine_gain: Mixture,
        overshoot_room: float,
        most_counts: int | None = None,
    ) -> Action | None:
        """The next move towards the target, None where none is worthwhile.

        `coarse_gain`, `fine_gain`: per count by either key; `overshoot_room`: how far beyond the
        target the move may bring the output at the largest gain; `most_counts`: largest distance
        from the trim's origin.
        """
        counts = self._wanted_counts(output, coarse_gain, overshoot_room)
        fine_counts = self._wanted_counts(
            output, fine_gain, overshoot_room, self._moving.key_uncorrected_tolerances
        )
        return self.trim.step_towards(
            self.reachable(counts, most_counts), self.reachable(fine_counts, most_counts)
        )

    def is_nearest_count(self, output: Mixture, gain: Mixture) -> bool:
        """Whether an output that is surely off the target would be no nearer at another count."""
        error = abs(1.0 - output.mean)
        least = self._least_error_tolerances * self.tolerance
        surely_off = error > max(2 * self._moving.least_error_sds * output.sd, least)
        nearer = error - abs(error - abs(gain.mean))
        return surely_off and nearer <= self._moving.least_improvement_tolerances * self.tolerance

    def range_ends_before_target(self, output: Mixture, gain: Mixture) -> bool:
        """Whether a worthwhile move would have to go beyond the trim's range."""
        wanted = self._wanted_counts(output, gain, self._moving.overshoot_relative)
        return wanted != 0 and self.reachable(wanted) == 0

    def reachable(self, counts: int, most_counts: int | None = None) -> int:
        """Those of `counts` that stay in range, and within `most_counts` of the trim's origin."""
        at = self.trim.counts
        if most_counts is not None:
            away = self.trim.counts_from_origin
            counts = min(max(counts, min(0, -most_counts - away)), max(0, most_counts - away))
        if self.spec.range is None:
            return counts
        lowest, highest = self.spec.range
        return min(max(counts, lowest - at), highest - at)

    def _wanted_counts(
        self,
        output: Mixture,
        gain: Mixture,
        overshoot_room: float,
        uncorrected_tolerances: float = 0.0,
    ) -> int:
        """Counts to the target, fewer the less sure the gain; 0 for an error too small or unsure.

        `uncorrected_tolerances`: part of the error that is left as it is.
        """
        moving, error = self._moving, 1.0 - output.mean
        least = self._least_error_tolerances * self.tolerance
        if abs(error) < max(moving.least_error_sds * output.sd, least):
            return 0
        corrected = error - np.copysign(uncorrected_tolerances * self.tolerance, error)
        counts = corrected * gain.mean / (gain.mean**2 + moving.caution * gain.sd**2)
        room = (overshoot_room + abs(error)) / self.largest_gain(gain)
        whole = round(float(np.clip(counts, -room, room)))
        nearer = abs(error) - abs(error - whole * gain.mean)
        return whole if nearer > moving.least_improvement_tolerances * self.tolerance else 0

    def note_gain(self, gain: Mixture) -> None:
        """Keep the largest gain that is beyond doubt: it bounds all further steps."""
        if abs(gain.mean) > self._moving.seen_gain_sds * gain.sd:
            self.seen_gain = max(self.seen_gain, abs(gain.mean))

    def largest_gain(self, gain: Mixture) -> float:
        """Size of the largest gain still credible: what a trim has done it may do again."""
        return max(self.seen_gain, abs(gain.mean) + self._moving.largest_gain_sds * gain.sd)

    def level_allows_probe(self, output: Mixture) -> bool:
        """Whether the output is known well enough for a first probe to show."""
        probing = self._probing
        by_hand = self.spec.keys is not None
        limit = probing.key_level_sd_tolerances if by_hand else probing.level_sd_tolerances
        return output.sd <= limit * self.tolerance

    def fine_after(self, coarse: Press, output: Mixture, fine_gain: Mixture) -> Action | None:
        """The fine presses that follow `coarse` at once, `output` being what that will give."""
        moving, keys = self._moving, self.spec.keys
        wanted = self._wanted_counts(
            output, fine_gain, moving.overshoot_relative, moving.key_uncorrected_tolerances
        )
        by_coarse = 0 if keys is None else coarse.times * keys.coarse_counts
        counts = self.reachable(by_coarse + wanted) - by_coarse
        return Press("fine", counts) if counts != 0 else None

    def trim_has_no_effect(self, gain: Mixture) -> bool:
        """Whether the probes so far suffice to say that the trim has no effect."""
        if self.seen_gain > 0:  # it had an effect once: twice as many probes must speak against it
            return self.probes >= 2 * self._probing.most
        useless = self.largest_gain(gain) < self.tolerance * self._probing.least_gain_tolerances
        return self.probes >= self._probing.most or (self.probes >= 2 and useless)

    def first_probe(self, output: Mixture, gain: Mixture) -> Action:
        """A step whose excursion is bounded even at the largest gain that the point may have."""
        error = 1 - output.mean
        sign = 1 if error * gain.mean >= 0 else -1
        return self._probe(sign, self.spec.largest_gain / self.spec.question.target, error)

    def next_probe(self, output: Mixture, gain: Mixture) -> Action:
        """A larger step, after one whose effect did not show."""
        error = 1 - output.mean
        sign_known = abs(gain.mean) > gain.sd  # else on in the direction of the moves so far
        upwards = error * gain.mean > 0 if sign_known else self.trim.counts >= 0
        return self._probe(1 if upwards else -1, self.largest_gain(gain), error)

    def _probe(self, sign: int, largest_gain: float, error: float) -> Action:
        """A step in the direction of `sign`, as large as excursion, growth and range allow.

        In the other direction where the trim stands at the end of its range.
        """
        probing, excursion = self._probing, self._excursion
        room = max(_FARTHEST_EXCURSIONS * excursion - abs(error), _LEAST_EXCURSION * excursion)
        room = min(excursion, room)
        if self.seen_gain > 0:  # it has a gain; only what it does here is not known
            room = min(room, abs(error) + self.tolerance)
        # a probe that did not show may have been looked for too early: grow with care
        most = probing.growth * max(abs(self.trim.counts), probing.first_counts)
        size = min(max(1, int(room / largest_gain)), most)
        counts = self.reachable(sign * size) or self.reachable(-sign * size)
        self.probes += 1
        return self.trim.probe(counts, most_presses=self.probes)
