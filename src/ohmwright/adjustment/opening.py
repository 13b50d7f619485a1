"""How an adjustment opens where the unit's output at the start was measured before."""

from __future__ import annotations

import numpy as np

from ohmwright.estimation.knowledge import GAIN
from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.point import Expected

from .actions import Action
from .belief import Belief
from .moving import Mover

_DOF = 30.0


def opening_move(expected: Expected, belief: Belief, mover: Mover) -> tuple[Action | None, bool]:
    """A first move with RF off, if enough is known; whether the output then is likely good.

    The belief starts from the level expected. A wrong one costs time: what is confirmed is
    decided on the confirmation's own readings.
    """
    target, tol = mover.spec.question.target, mover.tolerance
    level, sd = expected.value / target, expected.sd / target
    belief.knowledge = belief.knowledge.with_level(level, sd)
    gain = _known(float(belief.knowledge.mean[GAIN]), belief.gain_sd())
    here = _known(level, sd)
    move = None
    if belief.is_seen(gain):
        move = mover.towards(here, gain, gain, mover.spare(here, own=False))
    counts = float(mover.trim.place(move)[1])
    there = _known(level + counts * gain.mean, float(np.hypot(sd, counts * gain.sd)))
    return move, there.within(1 - tol, 1 + tol) > 0.5


def _known(mean: float, sd: float) -> Mixture:
    """An estimate from before the first reading."""
    return Mixture(np.ones(1), np.array([mean]), np.array([max(sd, 1e-9)]), _DOF)
