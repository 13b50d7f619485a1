"""How an adjustment opens where the unit's output at the start was measured before."""

from __future__ import annotations

import numpy as np

from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.point import Expected
from ohmwright.estimation.prior import GAIN

from .actions import Action
from .step_sizing import StepSizer
from .unit_estimator import UnitEstimator

_DOF = 30.0


def first_move(
    expected: Expected, estimator: UnitEstimator, sizer: StepSizer
) -> tuple[Action | None, bool]:
    """A first move with RF off, if enough is known; whether the output then is likely good.

    The belief starts from the level expected. A wrong one costs time: what is confirmed is
    decided on the confirmation's own readings.
    """
    target, tol = sizer.spec.question.target, sizer.tolerance
    level, sd = expected.value / target, expected.sd / target
    estimator.transient_prior = estimator.transient_prior.with_level(level, sd)
    gain = _known(float(estimator.transient_prior.mean[GAIN]), estimator.gain_sd())
    here = _known(level, sd)
    move = None
    if estimator.is_seen(gain):
        move = sizer.towards(here, gain, gain, sizer.spare(here, own=False))
    counts = float(sizer.trim.place(move)[1])
    there = _known(level + counts * gain.mean, float(np.hypot(sd, counts * gain.sd)))
    return move, there.within(1 - tol, 1 + tol) > 0.5


def _known(mean: float, sd: float) -> Mixture:
    """An estimate from before the first reading."""
    return Mixture(np.ones(1), np.array([mean]), np.array([max(sd, 1e-9)]), _DOF)
