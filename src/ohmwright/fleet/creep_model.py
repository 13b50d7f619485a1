"""How the outputs of a model's units creep, as the few figures that a whole fleet shares.

Deviations are in tolerances: 0 in the middle of the limits of a point, -1 and 1 at the limits.
Times are in years. Between two visits of a unit its deviation moves by

    rate * time                 with a rate of the unit's own, wandering slowly, drawn from one
                                of three groups: steady; settling, whose rates fade; and unlike
                                the model, steady with any rate;
    a random walk;
    now and then a step         as after a repair that nobody put on record;
    a season                    of one year, with an amplitude of the unit's own.

An adjustment on record sets the deviation anew; rate and season go on.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

UNLIKE_SHARE = 0.02
"""Share of the units that creep unlike their model, before anything is known of them."""
_UNLIKE_SPREAD = 3.0
"""Standard deviation of the rates of such units, over that of the units like their model."""
_LEAST_UNLIKE_SD = 0.5
"""The least standard deviation of their rates, in tolerances a year. These three have no source."""
_NO_FADING = 1e-6
"""Fading of the rate of a steady unit, in 1/year; not zero, since `creep_figures` divides by it."""


@dataclass(frozen=True, slots=True)
class CreepModel:
    """What the units of a model share at one point; tolerances and years."""

    rate_means: tuple[float, float]
    """Means of the steady and of the settling units, in tolerances a year, at their first value."""
    rate_sds: tuple[float, float]
    """Standard deviations of the same among units."""
    settling_share: float
    """How many of the units like their model are settling."""
    fading: float
    """How fast the rate of a settling unit fades, in 1/year: by exp(-fading * time)."""
    walk_sd: float
    """Standard deviation of the random walk after one year, in tolerances."""
    rate_walk_sd: float
    """Standard deviation of the change of a rate after one year, in tolerances a year."""
    steps_a_year: float
    step_sd: float
    """Standard deviation of the size of a step, in tolerances."""
    noise_ratio: float
    """Scatter of a value from visit to visit, over its stated standard uncertainty."""
    season: tuple[float, float]
    """Mean factors of the cosine and sine of the time of year, in tolerances."""
    season_sd: float
    """Standard deviation of either factor among units."""

    @property
    def shares(self) -> FloatArray:
        """Prior share of the three groups: steady, settling, and unlike the model; (3,)."""
        like = 1.0 - UNLIKE_SHARE
        settling = like * self.settling_share
        return np.array([like - settling, settling, UNLIKE_SHARE])

    @property
    def fadings(self) -> FloatArray:
        """Fading of the three groups, (3,)."""
        return np.array([_NO_FADING, self.fading, _NO_FADING])

    @property
    def rate_priors(self) -> tuple[FloatArray, FloatArray]:
        """Mean and standard deviation of the rate in each of the three groups, each (3,)."""
        mean, sd = self.population_rate
        wide = max(_UNLIKE_SPREAD * sd, _LEAST_UNLIKE_SD)
        return np.array([*self.rate_means, mean]), np.array([*self.rate_sds, wide])

    @property
    def population_rate(self) -> tuple[float, float]:
        """Mean and standard deviation of the rate over the units that are like their model."""
        share = np.array([1.0 - self.settling_share, self.settling_share])
        means, sds = np.array(self.rate_means), np.array(self.rate_sds)
        mean = float(share @ means)
        return mean, math.sqrt(float(share @ (sds**2 + (means - mean) ** 2)))


USUAL = CreepModel(
    rate_means=(0.0, 0.0),
    rate_sds=(0.15, 0.15),
    settling_share=0.3,
    fading=0.25,
    walk_sd=0.12,
    rate_walk_sd=0.015,
    steps_a_year=0.05,
    step_sd=0.4,
    noise_ratio=0.9,
    season=(0.0, 0.0),
    season_sd=0.03,
)
"""Wide guesses for a model of which nothing is known yet; not from any data."""
