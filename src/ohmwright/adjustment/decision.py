"""What the readings of an activation that adjusts call for: wait, probe, move, release or end."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.transient_estimate import TransientEstimate

from .actions import Action
from .activation_log import ActivationLog
from .move_choice import MoveChooser
from .parameters import Demand, Parameters
from .plain_look import Stay, slope
from .runaway_check import RANGE_ENDS, RunawayCheck
from .step_sizing import StepSizer
from .trim import Trim
from .unit_estimator import UnitEstimator

NO_EFFECT = "the trim has no effect"
"""Reason for giving up a point whose output no probe has changed."""
WITHOUT_EFFECT = "no effect of the trim was found, and the output is in tolerance as it stands"
"""What is said of a point that was confirmed all the same."""
_AS_IT_STANDS = 0.5
"""Least probability of an output in tolerance that is worth a confirmation before a trim without
effect ends the point: an output may be held by a limit of the unit, whatever the trim says."""
NO_MODEL = "the output does not behave as any model here"
"""Why a point stays undecided whose readings contradict what was estimated of its trim."""
TOO_FEW = "too few readings to tell where the output is"
"""Why a point stays undecided that has an output, as where a person types slowly."""
_AN_OUTPUT = 0.1
"""Least reading, over the target, that shows an output."""
RUN_AWAY = "the output does not follow the trim"
"""Reason for giving up a point whose output moves have twice brought out of bounds."""
_SHOWN_AFTER_LAGS = 1.0
"""Least time since ON or the last move before a gain may count as beyond doubt, in lags: until
then the rise of the output can look like the effect of a move."""


def moved_without_effect(trim: Trim) -> str:
    """How far a trim without effect was moved; empty for one that a person moves by keys."""
    lowest, highest = trim.farthest
    if trim.keys is not None or lowest == highest:
        return ""
    if lowest < 0 < highest:
        return f"it was moved by {lowest:+d} to {highest:+d} counts"
    return (
        f"it was moved by up to {lowest or highest:+d} counts, to one side alone: an output that a "
        "limit of the unit holds looks alike"
    )


@dataclass(frozen=True)
class AdjustmentDecision:
    """What to do now.

    `move`: the probe or move, or the last move before a release; `reason`: why the point is given
    up, or left undecided.
    """

    kind: Literal[
        "wait",
        "move",
        "release",
        "return to start",
        "confirm the start",
        "give up",
        "leave undecided",
    ]
    move: Action | None = None
    reason: str = ""
    gain_known: bool = False
    """Whether a "move" is by a gain that is determined, and no probe."""


_WAIT = AdjustmentDecision("wait")


def _end_without_fit(log: ActivationLog) -> AdjustmentDecision:
    """The end of readings that allow no estimate: they show no output, or are too few of one."""
    if log.highest < _AN_OUTPUT:
        return AdjustmentDecision("give up", reason="no output")
    return AdjustmentDecision("leave undecided", reason=TOO_FEW)


class AdjustmentDecider:
    """Decides for one point after each reading; keeps what it learns of the unit in `estimator`.

    The `gain` of its methods is that of the coarse key, where the trim is moved by keys.
    """

    def __init__(
        self,
        parameters: Parameters,
        trim: Trim,
        sizer: StepSizer,
        estimator: UnitEstimator,
    ) -> None:
        self.chooser = MoveChooser(parameters, sizer, estimator)
        self._parameters, self._trim = parameters, trim
        self._sizer, self._estimator = sizer, estimator
        self._runaway_check = RunawayCheck(parameters, sizer)
        self._believed_readings = self._confirmed_start = False
        """Whether the gain was taken from two places that plainly differ; whether the output was to
        be confirmed where it stands without the trim."""

    def decide(
        self, log: ActivationLog, age_s: float, *, late: bool, first: bool, refuted: bool
    ) -> AdjustmentDecision:
        """What the readings of `log`, the latest at `age_s`, call for.

        `late`: the service mode is about to time out; `first`: in the first activation; `refuted`:
        a confirmation has just shown the output out of tolerance.
        """
        estimator, sizer = self._estimator, self._sizer
        fit = estimator.fit()
        if fit is None:
            return _end_without_fit(log) if late else _WAIT
        gain = fit.combination(sizer.coarse_gain())
        output = fit.combination(self._trim.output_after(None))
        sizer.look.note_swings(fit.swings_until_s)
        if self._runaway_check.is_runaway(output, log):
            return self._after_runaway()
        if not late and self._look_is_short(age_s):
            return _WAIT
        sizer.note_output(output, gain, log.latest)
        by_readings = not sizer.look.contradicts(gain.mean)
        determined = by_readings and estimator.gain_is_determined(gain)
        if log.undisturbed_s >= estimator.visible_after_s(fit, _SHOWN_AFTER_LAGS):
            sizer.note_gain(gain)
        move = self.chooser.next_move(fit, output, gain) if determined else None
        if self.chooser.is_stuck(output, gain, move, first_activation=first):
            estimator.forget_gain()
            return _WAIT
        reason = self._runaway_check.why_unreachable(output, gain, move, refuted=refuted)
        if determined and reason is not None:
            return self._unreachable(reason)
        at_nearest = determined and move is None and sizer.is_nearest_count(output, gain)
        demand = self._demand(first=first, at_nearest_count=at_nearest)
        output_after = self._trim.output_after(move)
        since_move_s = age_s - log.moved_s
        has_waited = since_move_s >= estimator.patience_s
        if late or (has_waited and estimator.may_release(fit, output_after, demand)):
            return AdjustmentDecision("release", move)
        if not determined:
            return self._probe(log, age_s, fit, output, gain)
        if move is not None and since_move_s >= estimator.wait_after_move_s(fit, gain):
            return self._careful_move()
        return _WAIT

    def _look_is_short(self, age_s: float) -> bool:
        """Whether the output is younger than the age asked for, of a trim moved with RF off alone.

        Such an activation is all that is seen of a place: one that ends amid the rise tells nothing
        of what the trim does.
        """
        spec = self._sizer.spec
        return not spec.moves_while_on and age_s < spec.question.at_age_s

    def _demand(self, *, first: bool, at_nearest_count: bool) -> Demand:
        """How probably the output must be in tolerance for a release."""
        releasing = self._parameters.releasing
        if at_nearest_count:
            return releasing.nearest_count
        if self._estimator.has_fleet_gain and first:
            return releasing.by_fleet_gain
        return releasing.usual

    def _careful_move(self) -> AdjustmentDecision:
        """The move that is still worthwhile when departures from the model are allowed for.

        That fit takes longer, so it is done only where a move is due without it.
        """
        fit = self._estimator.fit_with_departures()
        if fit is None:
            return _WAIT
        output = fit.combination(self._trim.output_after(None))
        gain = fit.combination(self._sizer.coarse_gain())
        move = self.chooser.next_move(fit, output, gain)
        return _WAIT if move is None else AdjustmentDecision("move", move, gain_known=True)

    def _after_runaway(self) -> AdjustmentDecision:
        """Back to the start with nothing known of the gain; the second time the end."""
        self._estimator.forget_gain()
        if self._runaway_check.runaways > 1:
            return AdjustmentDecision("give up", reason=RUN_AWAY)
        return AdjustmentDecision("return to start")

    def _probe(
        self,
        log: ActivationLog,
        age_s: float,
        fit: TransientEstimate,
        output: Mixture,
        gain: Mixture,
    ) -> AdjustmentDecision:
        """The first probe once the level is known, another once the last could show; or the end."""
        sizer = self._sizer
        if log.undisturbed and not sizer.level_allows_probe(output):
            return _WAIT
        if sizer.probes == 0:
            return AdjustmentDecision("move", sizer.first_probe(output, gain))
        wait_s = self._estimator.surely_visible_after_s(fit, self._parameters.probing.wait_lags)
        if age_s - log.moved_s < wait_s:
            return _WAIT
        if sizer.trim_has_no_effect(gain):
            return self._no_effect(fit.level(0.0))
        return AdjustmentDecision("move", sizer.next_probe(output, gain))

    def _no_effect(self, level: Mixture) -> AdjustmentDecision:
        """The end by a trim that does nothing, unless the readings themselves show it at work.

        Then the gain is once taken from them; where that leads nowhere either, no model fits. An
        output whose `level`, without moves, may be in tolerance is once confirmed at its start.
        """
        pair = self._sizer.look.two_that_differ()
        if pair is None:
            tolerance = self._sizer.tolerance
            inside = level.probability_between(1 - tolerance, 1 + tolerance)
            if inside >= _AS_IT_STANDS and not self._confirmed_start:
                self._confirmed_start = True
                return AdjustmentDecision("confirm the start")
            return AdjustmentDecision("give up", reason=NO_EFFECT)
        if not self._believed_readings:
            self._believed_readings, self._sizer.probes = True, 0
            self._estimator.believe_slope(slope(*pair))
            return _WAIT
        return self._contradicted(
            pair,
            "no effect of the trim was found",
            "see whether it is stable, and window_s in the analyzer's data",
        )

    def _unreachable(self, reason: str) -> AdjustmentDecision:
        """The end by a range that is too short, unless the output was seen beyond the target."""
        pair = self._sizer.look.two_about_target()
        if reason != RANGE_ENDS or pair is None:
            return AdjustmentDecision("give up", reason=reason)
        found = "the target seemed out of the trim's range"
        return self._contradicted(pair, found, "see whether it is stable")

    def _contradicted(self, pair: tuple[Stay, Stay], found: str, look: str) -> AdjustmentDecision:
        """The end as undecided, with the readings that contradict what was `found`."""
        target = self._sizer.spec.question.target
        seen = " and ".join(f"{s.output * target:.4g} at {s.counts:+d} counts" for s in pair)
        reason = f"{NO_MODEL}: {found}, though it read {seen} from the start; {look}"
        return AdjustmentDecision("leave undecided", reason=reason)
