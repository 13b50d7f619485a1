"""The prior of a unit's coefficients at the present position of its trim.

Level and gain hold at an origin, which moves with the trim between activations. So the level is the
output at the present position, whichever way led there.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ohmwright.estimation.coefficients import COUNT, TRIM, Coefficient, output_at
from ohmwright.estimation.prior import TransientPrior

Floats = np.ndarray[tuple[int, ...], np.dtype[np.float64]]

_COUNTS = 1e-3
"""Step of the numerical derivative of the output by counts."""


def at_new_origin(prior: TransientPrior, position: Floats) -> TransientPrior:
    """`prior` with level and gain as they are at `position`, the trim's factors, shape (4,)."""
    counts, coarse = float(position[Coefficient.GAIN]), float(position[Coefficient.COARSE_PRESS])
    to_here = np.eye(COUNT)
    to_here[Coefficient.LEVEL, TRIM] = position
    slope = (output_at(counts + _COUNTS, coarse) - output_at(counts - _COUNTS, coarse)) / (
        2 * _COUNTS
    )
    to_here[Coefficient.GAIN, TRIM] = slope[TRIM]
    mean, covariance = to_here @ prior.mean, to_here @ prior.covariance @ to_here.T
    return replace(prior, mean=mean, covariance=covariance)
