"""Which move the readings call for, by a gain that this unit or only others of its model showed."""

from __future__ import annotations

from ohmwright.estimation.coefficients import Coefficient
from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.transient_estimate import TransientEstimate

from .actions import Action
from .parameters import Parameters
from .step_sizing import FINE_GAIN, StepSizer
from .unit_estimator import UnitEstimator


class MoveChooser:
    """Chooses the moves of one point. Outputs and gains relative to the target, gains per count.

    A gain that only other units of the model showed may be wrong by a factor and by its sign, so
    that moves by it stay small, each and all together.
    """

    def __init__(self, parameters: Parameters, sizer: StepSizer, estimator: UnitEstimator) -> None:
        self._fleet_gain, self._moving = parameters.fleet_gain, parameters.moving
        self._sizer, self._estimator = sizer, estimator

    def next_move(self, fit: TransientEstimate, output: Mixture, gain: Mixture) -> Action | None:
        """The next move towards the target, None where none is worthwhile."""
        own_gain = self._estimator.gain_is_own(gain)
        unsure = abs(1 - output.mean) < self._fleet_gain.least_error_sds * output.sd
        if not own_gain and unsure and self._sizer.trim.counts == 0:
            return None
        most_counts = None
        if not self._estimator.has_fleet_gain:
            most_counts = self._sizer.most_counts_of_moves()
        elif not own_gain:
            most_counts = self._most_counts(fit.coefficient(Coefficient.LEVEL).mean, gain.mean)
        room = self.overshoot_room(output, own_gain=own_gain)
        return self._sizer.next_move(output, gain, fit.combination(FINE_GAIN), room, most_counts)

    def overshoot_room(self, output: Mixture, *, own_gain: bool) -> float:
        """How far beyond the target a move may bring the output at the largest gain, relative."""
        fleet_gain = self._fleet_gain
        if own_gain:
            return self._moving.overshoot_relative
        room = fleet_gain.move_relative - abs(1 - output.mean)
        return min(fleet_gain.overshoot_relative, room)

    def is_stuck(
        self, output: Mixture, gain: Mixture, move: Action | None, *, first_activation: bool
    ) -> bool:
        """Whether a gain that this unit never showed offers no move where one is likely needed."""
        sizer, estimator, fleet_gain = self._sizer, self._estimator, self._fleet_gain
        untried = (
            estimator.has_fleet_gain and sizer.trim.counts == 0 and not estimator.gain_is_own(gain)
        )
        if move is not None or not untried:
            return False
        enough = (
            fleet_gain.stuck_probability if first_activation else fleet_gain.stuck_again_probability
        )
        probability = output.probability_between(1 - sizer.tolerance, 1 + sizer.tolerance)
        return probability < enough and sizer.level_allows_probe(output)

    def _most_counts(self, level: float, gain: float) -> int:
        """Largest distance, counts, from where the level holds that keeps the output in bounds.

        At any gain up to `worst_gain_ratio` times `gain`, of either sign.
        """
        room = max(0.0, self._fleet_gain.excursion_relative - abs(1 - level))
        return int(room / (self._fleet_gain.worst_gain_ratio * abs(gain)))
