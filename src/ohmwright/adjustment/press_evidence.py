"""Marginal likelihood of the readings since a press request, by when presses may have been made.

The figures for a person and for the noise are our own choice, without a source.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log, pi

import numpy as np
from numpy.typing import NDArray

from ohmwright.estimation.activation_record import ActivationRecord, FitStart
from ohmwright.estimation.coefficients import COUNT, TRIM, Coefficient, window_mean_response
from ohmwright.estimation.prior import TransientPrior
from ohmwright.estimation.transient_problem import linearised

from .press_hypotheses import SLIPS

Floats = NDArray[np.float64]

_REACTION_S, _REACTION_LOG_SD = 2.2, 0.6
"""Reaction time, from a cue to the first press: median in s, and deviation of its logarithm."""
LEAST_REACTION_S = 0.3
"""Shortest reaction time."""
_GRID_S = 0.2
"""Step of the grid of times of the first press."""
_LEAST_PROBABILITY = 1e-12
"""Added to the prior of each timing, so that it has a logarithm."""
_MOST_CORRELATION = 0.9
"""Largest correlation of neighbouring readings; beyond it whitening leaves little of a level."""
_BEFORE_ON_S = -1.0
"""An age before any reading."""
_SPACINGS_S = (0.35, 0.7)
"""Times from one press to the next that are tried."""
_NOISE_RATIO = 1.4
"""Standard deviation of readings about a prediction, over that about the fit that predicts them."""
_LEAST_SD = 0.0012
"""Least standard deviation of a reading, relative to the target."""
_SHAPE = 0.02
"""Standard deviation by which a rise leaves the model, relative to what is left to rise."""


@dataclass(frozen=True)
class ReadingsSince:
    """The readings since a press request as a regression on the eight coefficients.

    `age_s` (n,); `columns` (n, 9): reading per unit of each coefficient, then the reading, as
    `linearised` gives them; `inverse_sd` (n,): one over each reading's standard deviation;
    `correlation`: of neighbouring readings; `window_s`: over which the meter averages.
    """

    age_s: Floats
    columns: Floats
    inverse_sd: Floats
    correlation: float
    window_s: float
    move_times: Floats
    """Lag s, dead time s and ratio of the poles with which a move acts, shape (3,)."""

    @classmethod
    def since(
        cls, cue_s: float | None, record: ActivationRecord, start: FitStart, correlation: float
    ) -> ReadingsSince | None:
        """Return the readings of `record` after `cue_s`, None where there are fewer than two.

        Without `cue_s` all readings are taken.
        """
        later = record.age_s > (_BEFORE_ON_S if cue_s is None else cue_s)
        if np.count_nonzero(later) < 2:
            return None
        columns = linearised(record, start)[later]
        to_rise = 1 - columns[:, Coefficient.LEVEL]  # its column is the part that has risen
        floor = record.resolution**2 / 12 + _LEAST_SD**2
        variance = _NOISE_RATIO**2 * (start.variance + floor) + (_SHAPE * to_rise) ** 2
        return cls(
            record.age_s[later],
            columns,
            1 / np.sqrt(variance),
            float(np.clip(correlation, 0.0, _MOST_CORRELATION)),
            record.window_s,
            start.move_times,
        )

    @property
    def now_s(self) -> float:
        """Age at the latest reading."""
        return float(self.age_s[-1])

    def response(self, at_s: Floats) -> Floats:
        """Return the part of steps at `at_s`, shape (...), that each reading shows, (..., n)."""
        lag_s, dead_s, ratio = self.move_times
        return window_mean_response(
            self.age_s - at_s[..., None],
            self.window_s,
            lag_s=float(lag_s),
            dead_time_s=float(dead_s),
            pole_ratio=float(ratio),
        )

    def log_evidence(self, prior: TransientPrior, shares: Floats, change: Floats) -> Floats:
        """Return the log marginal likelihood of the readings, shape (b,), for b timings of a move.

        `shares` (b, n): part of the move that each reading shows; `change` (4,): what the whole
        move adds to the factors of level, gain, coarse press and curvature. The coefficients are
        integrated out under `prior`, in units of its standard deviations. What is the same for all
        timings of the same readings is left out.
        """
        design, error = self._whitened(prior, shares, change)
        factor = design @ np.linalg.cholesky(prior.covariance)
        normal = np.eye(COUNT) + factor.swapaxes(1, 2) @ factor
        projected = factor.swapaxes(1, 2) @ error[..., None]
        solution = np.linalg.solve(normal, projected)
        explained = np.einsum("bi,bi->b", projected[..., 0], solution[..., 0])
        _, log_det = np.linalg.slogdet(normal)
        square = np.einsum("bn,bn->b", error, error)
        n = shares.shape[1]
        evidence: Floats = -0.5 * (square - explained + log_det + n * log(2 * pi))
        return evidence

    def _whitened(
        self, prior: TransientPrior, shares: Floats, change: Floats
    ) -> tuple[Floats, Floats]:
        """Return the regression of each timing with white noise of standard deviation 1.

        That is the design, shape (b, n, 8), and what the readings differ from the prior's mean by,
        (b, n). `shares`, `change`: as of `log_evidence`.
        """
        design = np.broadcast_to(self.columns[:, :COUNT], (*shares.shape, COUNT)).copy()
        design[..., TRIM] += shares[..., None] * change
        design = self._white(design * self.inverse_sd[:, None])
        offset = (self.columns[:, COUNT] * self.inverse_sd)[None, :, None]
        error = self._white(np.broadcast_to(offset, (shares.shape[0], shares.shape[1], 1)))
        return design, error[..., 0] - design @ prior.mean

    def _white(self, columns: Floats) -> Floats:
        """Return columns (b, n, q) whitened: free of the correlation of neighbouring readings."""
        phi = self.correlation
        white = columns.copy()
        white[:, 1:] = (columns[:, 1:] - phi * columns[:, :-1]) / np.sqrt(1 - phi**2)
        return white


@dataclass(frozen=True)
class PressTimes:
    """The b timings that presses may have had, each with the logarithm of its prior probability.

    `shares` (b, n): part of the whole move that each reading shows; `first_s` (b,): age at the
    first press; `spacing_s` (b,): time from one press to the next.
    """

    shares: Floats
    log_prior: Floats
    first_s: Floats
    spacing_s: Floats

    @classmethod
    def before_rf(cls, readings: ReadingsSince) -> PressTimes:
        """Return the one timing of presses that were made before RF came on: a step at age 0."""
        zero = np.zeros(1)
        return cls(readings.response(zero), zero, zero, zero)

    @classmethod
    def not_yet(cls, readings: ReadingsSince, waited_s: float) -> PressTimes:
        """Return the one timing without a press so far, `waited_s` after the cue.

        Nothing was pressed by a person who never will, with the probability of that slip, or by one
        who has yet to react. The hypothesis "none" brings the slip's own probability, so the prior
        here is that of both cases divided by it: more than 1.
        """
        zero = np.zeros(1)
        never = SLIPS["none"]
        nothing_yet = never + (1 - never) * (1 - _reacted(waited_s))
        log_prior = np.log(np.array([nothing_yet / never]))
        return cls(np.zeros((1, readings.age_s.size)), log_prior, zero, zero)

    @classmethod
    def since_cue(cls, readings: ReadingsSince, cue_s: float, number: int) -> PressTimes:
        """Return the timings of `number` presses since a cue: a grid of first press and spacing."""
        # one time at least, however soon after the cue the latest reading is
        latest_s = max(readings.now_s, cue_s + LEAST_REACTION_S + 1e-6)
        at_s = np.arange(cue_s + LEAST_REACTION_S, latest_s, _GRID_S)
        spacings_s = _SPACINGS_S if number > 1 else _SPACINGS_S[:1]  # one press has no spacing
        first_s = np.repeat(at_s, len(spacings_s))
        spacing_s: Floats = np.tile(spacings_s, at_s.size)
        presses_s = first_s[:, None] + spacing_s[:, None] * np.arange(number)
        shares = readings.response(presses_s).mean(axis=1)
        z = (np.log(first_s - cue_s) - log(_REACTION_S)) / _REACTION_LOG_SD
        density = np.exp(-0.5 * z**2) / ((first_s - cue_s) * _REACTION_LOG_SD * np.sqrt(2 * pi))
        log_prior = np.log(density * _GRID_S / len(spacings_s) + _LEAST_PROBABILITY)
        return cls(shares, log_prior, first_s, spacing_s)


def _reacted(waited_s: float) -> float:
    """Return the probability that a person reacts within `waited_s`."""
    from scipy.special import ndtr  # slow to import

    return float(ndtr((log(max(waited_s, 1e-3)) - log(_REACTION_S)) / _REACTION_LOG_SD))
