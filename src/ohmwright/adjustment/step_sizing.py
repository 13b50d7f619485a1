"""How far a trim is moved: first to see what it does, then towards the target."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.point import PointSpec
from ohmwright.estimation.prior import COARSE, GAIN

from .actions import Action
from .parameters import Parameters
from .trim import Trim

Floats = NDArray[np.float64]


class StepSizer:
    """Sizes each step of a trim. Levels and gains are relative to the target, gains per count."""

    def __init__(self, spec: PointSpec, parameters: Parameters, trim: Trim) -> None:
        self.spec, self.parameters, self.trim = spec, parameters, trim
        self.tolerance = spec.question.tolerance / spec.question.target
        self.probes = 0

    def coarse_gain(self) -> Floats:
        """Gain per count as the coarse key has it; per count if the trim is remote."""
        keys = self.spec.keys
        return FINE_GAIN if keys is None else FINE_GAIN + unit(COARSE) / keys.coarse_counts

    def towards(
        self,
        here: Mixture,
        coarse: Mixture,
        fine: Mixture,
        spare: float,
        most: int | None = None,
    ) -> Action | None:
        """The next move towards the target, None where none is worth it.

        `coarse`, `fine`: gain per count of either key; `spare`: how far from the target, relative,
        even the largest gain still thinkable may bring the output; `most`: counts from the start
        that are not to be exceeded.
        """
        counts = self._wished(here, coarse, spare)
        fine_counts = self._wished(here, fine, spare, self.parameters.key_spared)
        return self.trim.towards(self._reachable(counts, most), self._reachable(fine_counts, most))

    def most_unseen(self, level: float, gain: float) -> int:
        """Counts from the start that a gain which only other units had may be trusted with.

        `level`: the output at the start. Whatever the gain really is, within `unseen_factor` and
        of either sign, the output stays within `unseen_excursion`.
        """
        t = self.parameters
        room = max(0.0, t.unseen_excursion - abs(1 - level))
        return int(room / (t.unseen_factor * abs(gain)))

    def spare(self, here: Mixture, *, own: bool) -> float:
        """How far beyond the target a move may bring the output at the largest gain.

        A gain that only other units of the model had (not `own`) may be wrong by a factor, and by
        its sign: such a move stays small as a whole.
        """
        t = self.parameters
        return t.excursion_cap if own else min(t.unseen_spare, t.unseen_move - abs(1 - here.mean))

    def at_the_end(self, here: Mixture, gain: Mixture) -> bool:
        """Whether the trim would have to go beyond its range."""
        wished = self._wished(here, gain, self.parameters.excursion_cap)
        return wished != 0 and self._reachable(wished) == 0

    def _reachable(self, counts: int, most: int | None = None) -> int:
        at = self.trim.counts
        if most is not None:
            counts = min(max(counts, min(0, -most - at)), max(0, most - at))
        if self.spec.range is None:
            return counts
        lowest, highest = self.spec.range
        return min(max(counts, lowest - at), highest - at)

    def _wished(self, here: Mixture, gain: Mixture, spare: float, spared: float = 0.0) -> int:
        """Counts to move: fewer, the less sure the gain; none for what is small or unsure.

        `spared`: how much of the error, in tolerances, is not worth a person's presses.
        """
        t, error = self.parameters, 1.0 - here.mean
        good = t.good if self.spec.keys is None else t.key_good
        if abs(error) < max(t.worth * here.sd, good * self.tolerance):
            return 0
        corrected = error - np.copysign(spared * self.tolerance, error)
        counts = corrected * gain.mean / (gain.mean**2 + t.caution * gain.sd**2)
        room = (spare + abs(error)) / (abs(gain.mean) + t.gain_doubt * gain.sd)
        return round(float(np.clip(counts, -room, room)))

    def lands_well(self, value: Mixture, *, eager: bool = False) -> bool:
        """Whether an output will probably be in tolerance, and likely well inside.

        `eager`: content with less, where to look on costs more than to confirm once more.
        """
        t, tol = self.parameters, self.tolerance
        inner = t.inner * tol
        least = t.eager_release if eager else t.release
        least_inner = t.eager_inner if eager else t.release_inner
        return (
            value.within(1 - tol, 1 + tol) >= least
            and value.within(1 - inner, 1 + inner) >= least_inner
        )

    def ready_to_probe(self, here: Mixture) -> bool:
        """Whether the level is known well enough to see a first probe."""
        return here.sd <= self.parameters.probe_level_sd * self.tolerance

    def no_effect(self, gain: Mixture) -> bool:
        """Whether enough was tried to say that the trim does nothing."""
        t = self.parameters
        useless = self.largest(gain) < self.tolerance * t.least_gain
        return self.probes >= t.most_probes or (self.probes >= 2 and useless)

    def largest(self, gain: Mixture) -> float:
        """The largest gain still thinkable."""
        return abs(gain.mean) + self.parameters.gain_doubt * gain.sd

    def first_probe(self, here: Mixture, gain: Mixture) -> Action:
        """A step out that keeps the excursion even at the largest gain to be expected."""
        error = 1 - here.mean
        sign = 1 if error * gain.mean >= 0 else -1
        return self._step_out(sign, self.spec.largest_gain / self.spec.question.target, error)

    def next_probe(self, here: Mixture, gain: Mixture) -> Action:
        """A larger step, after one whose effect was not seen."""
        error = 1 - here.mean
        sure = abs(gain.mean) > gain.sd
        onwards = error * gain.mean > 0 if sure else self.trim.counts >= 0
        return self._step_out(1 if onwards else -1, self.largest(gain), error)

    def _step_out(self, sign: int, largest_gain: float, error: float) -> Action:
        t = self.parameters
        probe = t.probe_excursion if self.spec.keys is None else t.key_probe_excursion
        room = min(probe, max(2.2 * probe - abs(error), 0.3 * probe))
        # a probe that was not seen may have been looked for too early: grow with care
        most = t.probe_growth * max(abs(self.trim.counts), t.first_probe)
        counts = self._reachable(sign * min(max(1, int(room / largest_gain)), most))
        self.probes += 1
        return self.trim.outwards(counts, self.probes)


def unit(index: int) -> Floats:
    """The combination that is one coefficient."""
    vector = np.zeros(8)
    vector[index] = 1.0
    return vector


FINE_GAIN = unit(GAIN)
