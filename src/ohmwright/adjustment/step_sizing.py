"""How far a trim is moved: first to see what it does, then towards the target."""

from __future__ import annotations

from math import inf

import numpy as np
from numpy.typing import NDArray

from ohmwright.adjustment.point import STATED_GAIN_RATIO, PointSpec
from ohmwright.estimation.coefficients import Coefficient, combination
from ohmwright.estimation.mixture import Mixture

from .actions import Action, Press
from .parameters import Parameters
from .plain_look import PlainLook
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
        self.look = PlainLook(spec.question, spec.largest_droop)
        """What the readings say without a model."""
        self.tolerance = spec.question.tolerance / spec.question.target
        """The point's tolerance relative to its target."""
        self.probes = 0
        self.seen_gain = 0.0
        """Largest gain that this unit's readings have shown beyond doubt; 0 while none."""
        self._first_size = 0
        """Counts of the first probe."""
        self._most_down, self._most_up = inf, inf
        """Counts in either direction that keep the output below its bound."""
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

    def centring_move(self, output: Mixture, gain: float) -> Action | None:
        """The move that brings the mean of `output` to the target, however unsure it is."""
        counts = self.reachable(round((1 - output.mean) / gain))
        return self.trim.step_towards(counts, counts)

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
        return wanted != 0 and self._in_range(wanted) == 0

    def note_output(self, output: Mixture, gain: Mixture, reading: float) -> None:
        """Let steps from now on keep the output below its bound at any gain still credible.

        `reading`: the latest, relative to the target.
        """
        if self.spec.highest is None:
            return
        room = max(0.0, self.spec.highest / self.spec.question.target - max(output.mean, reading))
        downwards, upwards = self._credible_gains(gain)
        self._most_up = room / upwards if upwards > 0 else inf
        self._most_down = room / -downwards if downwards < 0 else inf

    def most_counts_of_moves(self) -> int:
        """Largest distance from the trim's origin to which moves by an estimated gain may lead.

        Where an output behaves as no model here, the gain may seem nearly none as long as nothing
        was seen for as long as the rise took.
        """
        seen = max(self.look.widest_seen(), self._probing.first_counts)
        return self._moving.growth * seen

    def reachable(self, counts: int, most_counts: int | None = None, least: int = 1) -> int:
        """Those of `counts` that may be moved: in range, and not beyond the output's bound.

        `most_counts`: largest distance from the trim's origin; `least`: counts that the output's
        bound does not prevent, as nothing else could bring it back.
        """
        if most_counts is not None:
            away = self.trim.counts_from_origin
            counts = min(max(counts, min(0, -most_counts - away)), max(0, most_counts - away))
        lowest, highest = -max(least, self._most_down), max(least, self._most_up)
        return self._in_range(int(min(max(counts, lowest), highest)))

    def _in_range(self, counts: int) -> int:
        """Those of `counts` that stay in the trim's range."""
        at = self.trim.counts
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
        whole = round(self._bounded(counts, overshoot_room, error, self.largest_gain(gain)))
        nearer = abs(error) - abs(error - whole * gain.mean)
        return whole if nearer > moving.least_improvement_tolerances * self.tolerance else 0

    def _bounded(self, counts: float, room: float, error: float, largest_gain: float) -> float:
        """Those of `counts` that bring the output at most `room` beyond the target.

        That holds from the output now, which is `error` off, and from where it last came to rest:
        what was moved since may act later than the estimate has it.
        """
        most = (room + abs(error)) / largest_gain
        counts, still = float(np.clip(counts, -most, most)), self.look.latest_still()
        if still is None:
            return counts
        most, away = (room + abs(1 - still.output)) / largest_gain, self.trim.counts - still.counts
        return float(np.clip(counts, min(0.0, -most - away), max(0.0, most - away)))

    def note_gain(self, gain: Mixture) -> None:
        """Keep the largest gain that is beyond doubt: it bounds all further steps."""
        if abs(gain.mean) > self._moving.seen_gain_sds * gain.sd:
            self.seen_gain = max(self.seen_gain, abs(gain.mean))

    def largest_gain(self, gain: Mixture) -> float:
        """Size of the largest gain still credible: what a trim has done it may do again.

        Also what it may have done, if it has made all the change that the readings show, and what
        its data say, until the unit shows better.
        """
        largest = max(self._largest_estimated(gain), abs(self.look.slope()))
        if self.spec.stated_gain is None:
            return largest
        stated = self.spec.stated_gain / self.spec.question.target
        least = 0.0 if self.seen_gain > 0 else stated
        return min(max(largest, least), max(STATED_GAIN_RATIO * stated, self.seen_gain))

    def _largest_estimated(self, gain: Mixture) -> float:
        return max(self.seen_gain, abs(gain.mean) + self._moving.largest_gain_sds * gain.sd)

    def _credible_gains(self, gain: Mixture) -> tuple[float, float]:
        """The lowest and the highest gain still credible, with sign."""
        largest, sds = self.largest_gain(gain), self._moving.largest_gain_sds
        if self.trim.moves == 0:  # the readings cannot tell yet
            largest = min(largest, self.spec.largest_gain / self.spec.question.target)
        if abs(gain.mean) <= gain.sd:
            return -largest, largest
        other = max(-largest, abs(gain.mean) - sds * gain.sd)
        return (other, largest) if gain.mean > 0 else (-largest, -other)

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
        useless = (
            self._largest_estimated(gain) < self.tolerance * self._probing.least_gain_tolerances
        )
        return self.probes >= self._probing.most or (self.probes >= 2 and useless)

    def first_probe(self, output: Mixture, gain: Mixture) -> Action:
        """A step whose excursion is bounded even at the largest gain that the point may have."""
        error = 1 - output.mean
        sign = 1 if error * gain.mean >= 0 else -1
        largest_gain = self.spec.largest_gain / self.spec.question.target
        return self._probe(
            sign, largest_gain, error, self._probing.growth * self._probing.first_counts
        )

    def next_probe(self, output: Mixture, gain: Mixture) -> Action:
        """A larger step, after one whose effect did not show."""
        error = 1 - output.mean
        slope = gain.mean if abs(gain.mean) > gain.sd else self.look.slope()
        # nothing seen: on in the direction of the moves so far
        upwards = error * slope > 0 if slope != 0 else self.trim.counts >= 0
        # a probe that did not show may have been looked for too early: grow with care
        reached = max(abs(self.trim.counts), self._probing.first_counts)
        most: float = self._probing.growth * reached
        if abs(error) > self.tolerance:
            most = min(most, self._most_outwards(gain))
        return self._probe(1 if upwards else -1, self.largest_gain(gain), error, most)

    def _most_outwards(self, gain: Mixture) -> float:
        """Counts of a probe that may lead an output out of tolerance farther out.

        By little at any gain still credible, or else by the size of the first probe.
        """
        lowest, highest = self._credible_gains(gain)
        outwards = min(-lowest, highest)
        room = self._probing.outward_tolerances * self.tolerance
        return inf if outwards <= 0 else max(self._first_size, int(room / outwards))

    def _probe(self, sign: int, largest_gain: float, error: float, most: float) -> Action:
        """A step in the direction of `sign`, as large as excursion, `most` and range allow.

        In the other direction where the trim stands at the end of its range.
        """
        probing, excursion = self._probing, self._excursion
        room = max(_FARTHEST_EXCURSIONS * excursion - abs(error), _LEAST_EXCURSION * excursion)
        room = min(excursion, room)
        if self.seen_gain > 0:  # it has a gain; only what it does here is not known
            room = min(room, abs(error) + self.tolerance)
        size = int(min(max(1, int(room / largest_gain)), most))
        least = min(size, probing.first_counts)
        counts = self.reachable(sign * size, least=least) or self.reachable(
            -sign * size, least=least
        )
        self._first_size = self._first_size or abs(counts)
        self.probes += 1
        return self.trim.probe(counts, most_presses=self.probes)
