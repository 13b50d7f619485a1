"""The prior of a unit's coefficients where its trim stands now.

Level and gain hold at an origin. That moves with the trim between activations, so that what is said
of the output here does not hang on how it got here.
"""

from __future__ import annotations

import numpy as np

from ohmwright.estimation.coefficients import COUNT, TRIM, Coefficient, output_at
from ohmwright.estimation.prior import TransientPrior

Floats = np.ndarray[tuple[int, ...], np.dtype[np.float64]]

_COUNTS = 1e-3
"""Counts over which the slope of the output is taken."""


def at_new_origin(prior: TransientPrior, position: Floats) -> TransientPrior:
    """The same knowledge, with level and gain those at `position`, the factors (4,) there."""
    counts, coarse = float(position[Coefficient.GAIN]), float(position[Coefficient.COARSE_PRESS])
    to_here = np.eye(COUNT)
    to_here[Coefficient.LEVEL, TRIM] = position
    slope = (output_at(counts + _COUNTS, coarse) - output_at(counts - _COUNTS, coarse)) / (
        2 * _COUNTS
    )
    to_here[Coefficient.GAIN, TRIM] = slope[TRIM]
    return TransientPrior(to_here @ prior.mean, to_here @ prior.covariance @ to_here.T)
