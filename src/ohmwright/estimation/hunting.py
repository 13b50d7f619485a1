"""Hunting, slow swings of the output, as an alternative explanation of the readings.

The explanations are no hunting, and each pair of a period and an amplitude. One that hunts has two
coefficients more than the eight: the amplitudes of a sine and a cosine relative to the level.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .ar1_regression import Prior, diagonal_prior
from .coefficients import COUNT
from .prior import NoisePrior

Floats = NDArray[np.float64]

_NO_AMPLITUDE = 1e-7
"""Amplitude by which the explanation without hunting holds the two coefficients at zero."""


def swings(age_s: Floats, periods_s: Sequence[float]) -> Floats:
    """Sine and cosine of each period at `age_s` (n,), shape (n, 2 periods)."""
    columns = [np.empty((age_s.size, 0))]
    for period_s in periods_s:
        angle = 2 * np.pi / period_s * age_s
        columns.append(np.stack([np.sin(angle), np.cos(angle)], axis=1))
    return np.concatenate(columns, 1)


def explanations(
    normal: Floats, prior: Prior, variance: float, noise: NoisePrior
) -> tuple[Floats, Prior, Floats]:
    """Normal matrices (c, k, 11, 11), prior and log probability (k,) of the k explanations.

    `normal` (c, q, q): of the eight coefficients, the swings of each period and the readings;
    `prior`: of the eight; `variance`: of the noise. The first explanation is no hunting.
    """
    periods = (normal.shape[-1] - 1 - COUNT) // 2
    kinds = [(COUNT, _NO_AMPLITUDE)] + [
        (COUNT + 2 * period, amplitude)
        for period in range(periods)
        for amplitude in noise.hunting_amplitudes
    ]
    readings = normal.shape[-1] - 1
    used = np.array([[*range(COUNT), sine, sine + 1, readings] for sine, _ in kinds])
    share = noise.hunting / (len(kinds) - 1)
    log_probability = np.log(np.array([1 - noise.hunting] + [share] * (len(kinds) - 1)))
    precision = np.array([[variance / (a * a / 2)] * 2 for _, a in kinds])
    return (
        normal[:, used[:, :, None], used[:, None, :]],
        _with_amplitudes(prior, precision),
        log_probability,
    )


def _with_amplitudes(prior: Prior, precision: Floats) -> Prior:
    """Prior of the eight coefficients and of two amplitudes of mean 0, `precision` (k, 2)."""
    amplitudes = diagonal_prior(np.zeros(2), precision)
    normal = np.zeros((precision.shape[0], COUNT + 3, COUNT + 3))
    eight = np.array([*range(COUNT), COUNT + 2])
    normal[:, eight[:, None], eight] = prior.normal
    normal[:, COUNT : COUNT + 2, COUNT : COUNT + 2] = amplitudes.normal[:, :2, :2]
    return Prior(normal, amplitudes.log_determinant)
