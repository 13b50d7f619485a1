"""The move before the first activation, where the output at the start was measured before."""

from __future__ import annotations

import numpy as np

from ohmwright.adjustment.point import Expected
from ohmwright.estimation.coefficients import Coefficient
from ohmwright.estimation.mixture import Mixture

from .actions import Action
from .move_choice import MoveChooser
from .step_sizing import StepSizer
from .unit_estimator import UnitEstimator

_DOF = 30.0
"""Degrees of freedom of what is known before the first reading."""


def first_move(
    expected: Expected, estimator: UnitEstimator, sizer: StepSizer, chooser: MoveChooser
) -> tuple[Action | None, bool]:
    """The move with RF off, None for none; whether the output is then likely in tolerance.

    The expected level becomes the estimator's prior. A wrong one costs time alone: a confirmation
    is decided on its own readings.
    """
    target, tolerance = sizer.spec.question.target, sizer.tolerance
    level, level_sd = expected.value / target, expected.sd / target
    prior = estimator.prior.with_coefficient(Coefficient.LEVEL, level, level_sd)
    estimator.prior = prior
    gain = _known(prior.mean_of(Coefficient.GAIN), prior.sd_of(Coefficient.GAIN))
    output = _known(level, level_sd)
    move = None
    if estimator.gain_is_determined(gain):
        room = chooser.overshoot_room(output, own_gain=False)
        move = sizer.next_move(output, gain, gain, room)
    counts = sizer.trim.counts_after(move)
    output_after = _known(level + counts * gain.mean, float(np.hypot(level_sd, counts * gain.sd)))
    return move, output_after.probability_between(1 - tolerance, 1 + tolerance) > 0.5


def _known(mean: float, sd: float) -> Mixture:
    """One Student t distribution, relative to the target."""
    return Mixture(np.ones(1), np.array([mean]), np.array([max(sd, 1e-9)]), _DOF)
