"""What is believed of one unit: carried from activation to activation, refitted within each."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.point import PointSpec
from ohmwright.estimation.prior import GAIN, LEVEL, NoisePrior, TransientPrior, vague_prior
from ohmwright.estimation.transient_estimate import FitStart, TransientEstimate
from ohmwright.estimation.transient_estimator import fit_transient

from .activation_log import ActivationLog
from .fleet_prior import FleetPrior, Learned
from .parameters import Parameters
from .step_sizing import FINE_GAIN, StepSizer, unit

Floats = NDArray[np.float64]
_ANY_LEVEL = (1.0, 0.1)


class UnitEstimator:
    """Knowledge of the unit, the readings of the present activation, and what they make of it."""

    def __init__(
        self, spec: PointSpec, parameters: Parameters, sizer: StepSizer, prior: FleetPrior
    ) -> None:
        self._spec, self._parameters, self._sizer = spec, parameters, sizer
        self.transient_prior = prior.transient_prior()
        self._noise = NoisePrior(hunting=prior.hunting_share())
        self._believed_sd = self.gain_sd()
        self._gain_guess = 1e-3
        self._proven = False
        self.hunts = 0.0
        """Probability that the unit hunts, from its own readings."""
        self.begin(None)

    def begin(self, log: ActivationLog | None) -> None:
        """A new activation."""
        self._log = log
        self._start: FitStart | None = None
        self._open_start: FitStart | None = None
        self._fit: TransientEstimate | None = None

    def end(self) -> None:
        """The activation is over: what it taught is believed from now on."""
        if self._fit is not None:
            self.transient_prior = self._fit.transient_prior().loosened()

    def gain_sd(self) -> float:
        """How unsure the gain is, by what is known from before the activation."""
        return float(np.sqrt(self.transient_prior.covariance[GAIN, GAIN]))

    def learned(self) -> Learned | None:
        """What this unit taught for the next of its model; None if its gain was never seen."""
        gain = float(self.transient_prior.mean[GAIN])
        if abs(gain) < 3 * self.gain_sd():
            return None
        return Learned(gain, self.transient_prior.lag_s, self.transient_prior.dead_s, self.hunts)

    def fresh_start(self) -> None:
        """Fit from nothing: a look of another kind went before."""
        self._start = None

    def fit(self) -> TransientEstimate | None:
        """The readings so far, fitted; what they contradict is believed no longer."""
        fit = self._refit(hunting=False)
        if fit is not None and self._is_contradicted(fit):
            self.open_gain()
            fit = self._refit(hunting=False)
        if fit is not None and self._disappoints(fit, LEVEL, self._parameters.level_surprise):
            self.transient_prior = self.transient_prior.with_level(*_ANY_LEVEL)
            fit = self._refit(hunting=False)
        if fit is not None and self._disappoints(fit, GAIN, self._parameters.surprise):
            self.open_gain()
            fit = self._refit(hunting=False)
        return fit

    def lands_well(self, fit: TransientEstimate, there: Floats, *, eager: bool = False) -> bool:
        """Whether the output with the trim `there` will probably be well in tolerance.

        It must stand when hunting is thought of too.
        """
        if not self._sizer.lands_well(fit.combination(there), eager=eager):
            return False
        careful = self._refit(hunting=True)
        if careful is None:
            return False
        self.hunts = careful.hunting
        return self._sizer.lands_well(careful.combination(there), eager=eager)

    def wait_s(self, fit: TransientEstimate, gain: Mixture) -> float:
        """How long after a move the next may follow: longer while none was seen to act."""
        t = self._parameters
        unseen = t.borrowed_lags if self.borrowed else t.unseen_lags
        return self.acts_s(fit, 0.0 if self.is_own(gain) else unseen)

    def acts_s(self, fit: TransientEstimate, lags: float) -> float:
        """Time from a move until the readings show what so many lags leave to be seen of it."""
        return fit.dead_s + 0.5 * self._spec.question.window_s + lags * fit.lag_s

    def open_gain(self) -> None:
        """Believe nothing of the gain any more."""
        self.transient_prior = self.transient_prior.with_open_gain()
        self._believed_sd = self.gain_sd()

    def is_seen(self, gain: Mixture) -> bool:
        """Whether the gain is known well enough to move by it."""
        return abs(gain.mean) > self._parameters.gain_seen * gain.sd

    @property
    def borrowed(self) -> bool:
        """Whether something is believed of the gain that only other units of the model told."""
        return self._believed_sd < float(np.sqrt(vague_prior().covariance[GAIN, GAIN]))

    def is_own(self, gain: Mixture) -> bool:
        """Whether this unit's own readings tell its gain, not only what others of its model did."""
        if self.borrowed:
            return self._proven
        return gain.sd < self._parameters.own_gain * self._believed_sd

    def _disappoints(self, fit: TransientEstimate, index: int, surprise: float) -> bool:
        """Whether the readings contradict what was believed of level or gain beforehand."""
        now = fit.combination(unit(index))
        believed = float(self.transient_prior.mean[index])
        sd = float(np.sqrt(self.transient_prior.covariance[index, index]))
        return now.sd < sd and abs(now.mean - believed) > surprise * sd

    def _is_contradicted(self, fit: TransientEstimate) -> bool:
        """Whether the readings by themselves tell another gain than others of the model had.

        A firm belief would otherwise bend everything else (level, curvature) before itself. Asked
        once a move had time to be seen, until the readings tell the gain and agree with it; a
        belief that long remains unproven is let go too.
        """
        if not self.borrowed or self._proven or self._sizer.trim.counts == 0 or self._log is None:
            return False
        since_s = self._log.undisturbed_s
        if since_s < self.acts_s(fit, self._parameters.judged_lags):
            return False
        open_fit = self._fitted(self.transient_prior.with_open_gain(), self._open_start)
        if open_fit is None:
            return False
        self._open_start = open_fit.start
        own = open_fit.combination(FINE_GAIN)
        if self._overrules(own):
            return True
        believed = abs(float(self.transient_prior.mean[GAIN]))
        self._proven = own.sd < self._parameters.proof * believed
        return not self._proven and since_s > self.acts_s(fit, self._parameters.proof_lags)

    def _overrules(self, own: Mixture) -> bool:
        t, believed = self._parameters, float(self.transient_prior.mean[GAIN])
        vague = own.sd > t.contradiction_sd * max(abs(own.mean), abs(believed))
        apart = t.contradiction * float(np.hypot(own.sd, self.gain_sd()))
        return not vague and abs(own.mean - believed) > apart

    def _refit(self, *, hunting: bool) -> TransientEstimate | None:
        fit = self._fitted(self.transient_prior, self._start, hunting=hunting)
        if fit is not None:
            self._fit, self._start = fit, fit.start
            self._gain_guess = abs(fit.combination(self._sizer.coarse_gain()).mean) + 1e-4
        return fit

    def _fitted(
        self, transient_prior: TransientPrior, start: FitStart | None, *, hunting: bool = False
    ) -> TransientEstimate | None:
        if self._log is None:
            return None
        # what a coarse press is off by and the curvature scale with the gain, which readings tell
        coarse_sd = 0.0 if self._spec.keys is None else self._spec.keys.coarse_sd
        scaled = transient_prior.for_gain(self._gain_guess, coarse_sd)
        return fit_transient(self._log.record(), scaled, self._noise, start, hunting=hunting)
