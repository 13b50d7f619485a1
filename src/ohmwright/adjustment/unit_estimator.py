"""One unit's coefficients: estimated within each activation, carried from one to the next."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ohmwright.adjustment.point import PointSpec
from ohmwright.estimation.activation_record import FitStart
from ohmwright.estimation.coefficients import Coefficient
from ohmwright.estimation.habits import Habits
from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.prior import VAGUE_GAIN_SD, NoisePrior, TransientPrior, vague_prior
from ohmwright.estimation.transient_estimate import TransientEstimate, fit_transient

from .activation_log import ActivationLog
from .fleet_prior import FleetPrior, Learned
from .local_prior import at_new_origin
from .parameters import Demand, Parameters
from .release_criterion import meets_release_criterion
from .step_sizing import FINE_GAIN, StepSizer

Floats = NDArray[np.float64]

_ANY_LEVEL = (1.0, 0.1)
"""Prior of an unknown level: mean and standard deviation, relative to the target."""
_SOONEST = 0.35
"""Least part of the rise's delay that is waited for a move to show, however soon it seems to
act."""
_LEAST_CHANGE_TOLERANCES = 2.0
"""Least by which two levels differ that tell a gain."""
_OF_LEVELS = 0.1
"""Standard uncertainty of a gain from two levels, relative: curvature and play of the trim."""
_OF_PLACES = 0.3
"""The same of one from two places that were seen without a model: droop and hunting besides."""
_TAUGHT_SDS = 3.0
"""Distance of a gain from zero above which it enters the fleet prior."""


class UnitEstimator:
    """The prior of one unit, its present activation's log, and their estimate.

    `prior` is that of the present activation, or the next; `habits`: how the unit departs from a
    plain rise with droop, by its activations so far. Gains are relative to the target, per count.
    """

    def __init__(
        self, spec: PointSpec, parameters: Parameters, sizer: StepSizer, fleet: FleetPrior
    ) -> None:
        self._spec, self._parameters, self._sizer = spec, parameters, sizer
        self.prior = fleet.transient_prior(spec.largest_droop)
        self._hunting_share = fleet.hunting_share()
        self.habits = Habits(0.0, 0.0)
        self.seen_hunting = 0.0
        """Probability of hunting by the readings of an activation, not by a jump between two."""
        self._prior_gain_sd = self.prior.sd_of(Coefficient.GAIN)
        self._gain_size = 1e-3
        self._fleet_gain_proven = False
        self._level_before: tuple[int, Mixture] | None = None
        """Counts of the trim where the activation before began, and the level seen there."""
        self.patience_s = 0.0
        """Time waited after each move beyond what it seems to need."""
        self.begin_activation(None)

    def begin_activation(self, log: ActivationLog | None) -> None:
        """Estimate from the readings of `log` from now on."""
        self._log = log
        self._start: FitStart | None = None
        self._vague_gain_start: FitStart | None = None
        self._fit: TransientEstimate | None = None
        self._departures = self.habits.rises_otherwise

    def end_activation(self) -> None:
        """Make the latest estimate the prior of the next activation, and keep the habits it saw."""
        if self._fit is None:
            return
        whole = self.fit_with_departures()
        if whole is not None:
            self._level_before = self._sizer.trim.origin[0], whole.level(0.0)
            self.prior = whole.as_prior().loosened(whole.extrapolation)
            still = self._log is not None and self._log.undisturbed
            self.note_habits(whole.habits if still else whole.habits.without_swing)

    def move_origin(self) -> None:
        """Let level and gain be those where the trim stands; not while an activation is logged."""
        trim = self._sizer.trim
        self.prior = at_new_origin(self.prior, trim.position())
        trim.make_origin()

    def forget_all_but_gain(self) -> None:
        """Make the prior vague but for the gain, whose uncertainty grows.

        Moves may act later than was assumed, so that each is waited for longer from now on.
        """
        self.patience_s += self._parameters.moving.patience_s
        gain, sd = self.prior.mean_of(Coefficient.GAIN), self.prior.sd_of(Coefficient.GAIN)
        opened = max(sd, self._parameters.prior_checks.opened_gain_sd_ratio * abs(gain))
        vague = vague_prior(self._spec.largest_droop)
        self.prior = vague.with_coefficient(Coefficient.GAIN, gain, opened)

    def learned(self) -> Learned | None:
        """What this unit teaches of its model; None while its gain is not clearly off zero."""
        gain = self.prior.mean_of(Coefficient.GAIN)
        if abs(gain) < _TAUGHT_SDS * self.prior.sd_of(Coefficient.GAIN):
            return None
        return Learned(gain, self.prior.lag_s, self.prior.dead_time_s, self.habits.hunting)

    def note_habits(self, seen: Habits | None) -> None:
        """Add the habits that an activation has `seen`."""
        if seen is not None:
            self.habits = self.habits.after(seen)
            self.seen_hunting = max(self.seen_hunting, seen.hunting)

    def note_jump(self, jump: float) -> None:
        """Take note of an output `jump` away from its prediction, relative to the target."""
        self.habits = self.habits.after_a_jump(jump)

    def note_other_rise(self) -> None:
        """Take note of an output that perhaps had not risen yet when it seemed to stand."""
        self.habits = self.habits.after_another_rise

    @property
    def latest_fit(self) -> TransientEstimate | None:
        """The latest estimate of the present activation, or the one just over."""
        return self._fit

    def restart_fit(self) -> None:
        """Let the next fit find its own start, for one that follows a fit of another kind."""
        self._start = None

    def allow_for_departures(self) -> None:
        """Allow for departures from the model for the rest of the activation.

        A confirmation was decided so: a move by another estimate would contradict it.
        """
        self._departures = True

    def fit(self) -> TransientEstimate | None:
        """Estimate from the readings so far; None without output.

        What the readings contradict of the prior (fleet's gain, level, gain) is dropped first.
        """
        checks = self._parameters.prior_checks
        fit = self._refit(departures=self._departures)
        if fit is not None and self._contradicts_fleet_gain(fit):
            self.forget_gain()
            fit = self._refit(departures=self._departures)
        if fit is not None and self._contradicts(fit, Coefficient.LEVEL, checks.level_sds):
            self.forget_level()
            fit = self._refit(departures=self._departures)
        if fit is not None and self._contradicts(fit, Coefficient.GAIN, checks.gain_sds):
            self.forget_gain()
            fit = self._refit(departures=self._departures)
        return fit

    def fit_with_departures(self) -> TransientEstimate | None:
        """Estimate that allows for departures from the model, under the present prior."""
        return self._refit(departures=True)

    def may_release(self, fit: TransientEstimate, output: Floats, demand: Demand) -> bool:
        """Whether the release criterion holds for an output, also when departures are allowed for.

        `output`: combination of coefficients, shape (8,), that is the output at a trim position.
        """
        tolerance = self._sizer.tolerance
        inner = self._parameters.releasing.inner_tolerances * tolerance
        predicted = fit.combination(output)
        if not meets_release_criterion(predicted, tolerance, inner, demand):
            return False
        with_departures = self.fit_with_departures()
        if with_departures is None:
            return False
        predicted = with_departures.combination(output)
        return meets_release_criterion(predicted, tolerance, inner, demand)

    def wait_after_move_s(self, fit: TransientEstimate, gain: Mixture) -> float:
        """Time from a move to the next; longer while the readings do not determine the gain."""
        moving, fleet_gain = self._parameters.moving, self._parameters.fleet_gain
        sure = self.has_fleet_gain or abs(gain.mean) > moving.sure_gain_sds * gain.sd
        if self.gain_is_own(gain) and sure:
            return self.visible_after_s(fit, 0.0) + self.patience_s
        lags = fleet_gain.wait_lags if self.has_fleet_gain else moving.wait_lags
        return self.visible_after_s(fit, lags) + self.patience_s

    def visible_after_s(self, fit: TransientEstimate, lags: float) -> float:
        """Time from a move until the readings show its effect over the first `lags` lags."""
        share = max(_SOONEST, fit.start.move_delay)
        delay_s = share * (fit.dead_time_s + lags * fit.lag_s)
        return delay_s + 0.5 * self._spec.question.window_s

    def surely_visible_after_s(self, fit: TransientEstimate, lags: float) -> float:
        """Time from a move until its effect over `lags` would show, if it acts as the rise does.

        While none has been seen the readings cannot tell that a move acts sooner.
        """
        delay_s = fit.dead_time_s + lags * fit.lag_s
        return max(delay_s + 0.5 * self._spec.question.window_s, self.visible_after_s(fit, lags))

    def forget_gain(self) -> None:
        """Make the prior of the gain as vague as that of an unknown unit."""
        self.prior = self.prior.with_vague_gain()
        self._prior_gain_sd = self.prior.sd_of(Coefficient.GAIN)

    def reinterpret_gain(self, ratio: float) -> None:
        """Take the gain as `ratio` times what was learned, since other moves had made its effect.

        The output where the trim was then believed to stand now is not known any more.
        """
        self.prior = self.prior.with_gain_times(ratio)
        self.forget_level()

    def forget_level(self) -> None:
        """Make the prior of the output where the trim stands as vague as an unknown unit's."""
        self.prior = self.prior.with_coefficient(Coefficient.LEVEL, *_ANY_LEVEL)

    def believe_levels(self, level: float, sd: float) -> None:
        """Let the gain be what two rested levels, the last one not as predicted, differ by.

        `level` and its standard uncertainty: where the trim stands, relative to the target. Moves
        that act later than was thought make the gain of the activation before seem small; levels
        that were seen after a rise each know nothing of that. Levels that hardly differ show rather
        that one of them was not seen well.
        """
        if self._level_before is None:
            return
        counts, before = self._level_before
        apart, change = self._sizer.trim.origin[0] - counts, level - before.mean
        change_sd = float(np.hypot(sd, before.sd))
        least = max(
            _LEAST_CHANGE_TOLERANCES * self._sizer.tolerance,
            self._parameters.moving.gain_sds * change_sd,
        )
        if apart != 0 and abs(change) > least:
            gain_sd = float(np.hypot(change_sd, _OF_LEVELS * change)) / abs(apart)
            self.prior = self.prior.with_coefficient(Coefficient.GAIN, change / apart, gain_sd)

    def believe_slope(self, gain: float) -> None:
        """Take the gain that two places show whose readings plainly differ, whatever was fitted."""
        self.prior = self.prior.with_coefficient(Coefficient.GAIN, gain, _OF_PLACES * abs(gain))
        self._prior_gain_sd, self._fleet_gain_proven = VAGUE_GAIN_SD, False

    def gain_is_determined(self, gain: Mixture) -> bool:
        """Whether the gain is known well enough to move by it."""
        return abs(gain.mean) > self._parameters.moving.gain_sds * gain.sd

    @property
    def has_fleet_gain(self) -> bool:
        """Whether the prior of the gain is one that other units of the model taught."""
        return self._prior_gain_sd < VAGUE_GAIN_SD

    def gain_is_own(self, gain: Mixture) -> bool:
        """Whether this unit's own readings determine its gain, or have proved the fleet's."""
        if self.has_fleet_gain:
            return self._fleet_gain_proven
        return gain.sd < self._parameters.prior_checks.own_gain_sd_ratio * self._prior_gain_sd

    def _contradicts(self, fit: TransientEstimate, coefficient: Coefficient, sds: float) -> bool:
        """Whether a coefficient is narrower than its prior, and `sds` of it away."""
        estimate = fit.coefficient(coefficient)
        mean, sd = self.prior.mean_of(coefficient), self.prior.sd_of(coefficient)
        return estimate.sd < sd and abs(estimate.mean - mean) > sds * sd

    def _contradicts_fleet_gain(self, fit: TransientEstimate) -> bool:
        """Whether the gain that other units taught is to be dropped.

        The readings are fitted without it, since a narrow prior of the gain would bend everything
        else (level, curvature) instead. That is done once a move had time to show, until the
        readings prove the gain; one that they have not proved long after a move is dropped too.
        """
        no_question = not self.has_fleet_gain or self._fleet_gain_proven
        if no_question or self._log is None or self._log.undisturbed:
            return False
        since_s, fleet_gain = self._log.undisturbed_s, self._parameters.fleet_gain
        if since_s < self.visible_after_s(fit, fleet_gain.judge_after_lags):
            return False
        fit_without = self._fitted(self.prior.with_vague_gain(), self._vague_gain_start)
        if fit_without is None:
            return False
        self._vague_gain_start = fit_without.start
        own_gain = fit_without.combination(FINE_GAIN)
        if self._differs_from_prior(own_gain):
            return True
        expected = abs(self.prior.mean_of(Coefficient.GAIN))
        self._fleet_gain_proven = own_gain.sd < fleet_gain.proof_sd_ratio * expected
        too_late = since_s > self.visible_after_s(fit, fleet_gain.drop_after_lags)
        return not self._fleet_gain_proven and too_late

    def _differs_from_prior(self, own_gain: Mixture) -> bool:
        """Whether the unit's own gain is known well, and far from its prior."""
        fleet_gain = self._parameters.fleet_gain
        expected, sd = self.prior.mean_of(Coefficient.GAIN), self.prior.sd_of(Coefficient.GAIN)
        larger = max(abs(own_gain.mean), abs(expected))
        vague = own_gain.sd > fleet_gain.contradiction_sd_ratio * larger
        limit = fleet_gain.contradiction_sds * float(np.hypot(own_gain.sd, sd))
        return not vague and abs(own_gain.mean - expected) > limit

    def _refit(self, *, departures: bool) -> TransientEstimate | None:
        """Estimate under the present prior, kept for the next activation."""
        fit = self._fitted(self.prior, self._start, departures=departures)
        if fit is not None:
            self._fit, self._start = fit, fit.start
            self._gain_size = abs(fit.combination(self._sizer.coarse_gain()).mean) + 1e-4
        return fit

    def _fitted(
        self, prior: TransientPrior, start: FitStart | None, *, departures: bool = False
    ) -> TransientEstimate | None:
        """Estimate from the present log under `prior`; None without log or output."""
        if self._log is None:
            return None
        # the error of a coarse press and the curvature scale with the gain, as estimated
        coarse_sd = 0.0 if self._spec.keys is None else self._spec.keys.coarse_sd
        narrowed = prior.narrowed_to_gain(self._gain_size, coarse_sd)
        noise = NoisePrior(habits=self.habits.at_least(self._hunting_share))
        return fit_transient(self._log.record(), narrowed, noise, start, departures=departures)
