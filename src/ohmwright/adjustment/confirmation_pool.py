"""Confirmations at one place of the trim that ended undecided, combined with the present one.

Each is an estimate from its own rested activation. All of them count, whatever they said, so that
looking again is no second chance for a value that was refused.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ohmwright.estimation.mixture import Mixture

_COMMON = 0.5
"""Part of the smallest standard deviation that all have in common: the model's, the warmth's."""


def pooled(estimates: Sequence[Mixture]) -> Mixture:
    """The value that all `estimates` of it say together, as one Student t distribution.

    Their means are weighted by precision. The standard deviation has a part in common, which no
    repetition makes smaller, and is widened where they scatter more than they say they do.
    """
    mean = np.array([each.mean for each in estimates])
    variance = np.array([each.sd**2 for each in estimates])
    common = _COMMON**2 * float(np.min(variance))
    weight = 1 / (variance - common)
    centre = float(np.average(mean, weights=weight))
    scatter = float(np.sum(weight * (mean - centre) ** 2)) / max(1, mean.size - 1)
    sd = np.sqrt(common + max(1.0, scatter) / float(np.sum(weight)))
    dof = min(each.dof for each in estimates)
    return Mixture(np.ones(1), np.array([centre]), np.array([sd]), dof)
