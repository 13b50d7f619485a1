"""Finds an output that came to its level by a jump soon after its rise, and may go back.

Too little lies before such a jump to tell two states. What is left of it is an output that was off,
once it had risen, and then came to its level at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

import numpy as np

from .ar1_regression import mean
from .coefficients import Coefficient
from .transient_fit import TransientFit
from .transient_problem import Problem

_UP = 0.9
"""From this part of the level on an output counts as risen."""
_JUST_BEFORE_S = 1.6
"""Time, beside the meter's window, in which what an output was off is what it jumped by."""
_AT_ONCE = 0.7
"""Part of the most that it was off which it was just before: less is the end of a slow rise."""
_STOOD_S = 0.4
"""It was off by as much when it had risen for so long: before that is the end of a quick rise."""
_ROUNDING_S = 1e-6
"""Difference of ages that is none."""
_MAY_RETURN, _RETURN_S = 0.5, 5.0
"""Probability that an output goes back which has just come to its level at once, and the time in
which that falls by e: it falls as if states lasted 3 to 8 s, seldom longer."""


@dataclass(frozen=True)
class Arrival:
    """How an output came to its level: it was `off` by so much until `age_s`, then no more.

    `off`: relative to the target, 0 where it rose to its level and stayed there.
    """

    off: float = 0.0
    age_s: float = 0.0

    def may_return(self, now_s: float) -> float:
        """Probability that it goes back, at the age `now_s` until which it has not."""
        return _MAY_RETURN * exp(-(((now_s - self.age_s) / _RETURN_S) ** 2))


def arrival(problem: Problem, fit: TransientFit) -> Arrival:
    """How the output came to the level of `fit`, in which early departures count less.

    The fit takes up a part of a jump, so that `off` is less than the distance of both states.
    """
    age_s, left = problem.record.age_s, fit.residuals
    risen = fit.columns[:, Coefficient.LEVEL]
    early = np.flatnonzero(problem.keep & (risen > _UP) & (problem.excess > 0))
    if not early.size:
        return Arrival()
    off = np.abs(left[early] - mean(left[2 * age_s.size // 3 :]))
    came_s = float(age_s[early[-1]])
    just_before = age_s[early] > came_s - _JUST_BEFORE_S - problem.record.averaged_s
    jump, most = float(off[just_before].max()), float(off.max())
    last_off_s = age_s[early][just_before & (off > _AT_ONCE * jump)][-1]
    stood = last_off_s - age_s[risen > _UP][0] > _STOOD_S - _ROUNDING_S
    return Arrival(jump, came_s) if jump > _AT_ONCE * most and stood else Arrival()
