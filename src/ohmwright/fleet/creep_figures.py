"""The figures of creep models as arrays, for all models and groups at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .creep_model import CreepModel, FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Figures:
    """Those of models; each array (models, 1 or 3 groups, 1)."""

    shares: FloatArray
    rate_means: FloatArray
    rate_sds: FloatArray
    fading: FloatArray
    walk: FloatArray
    """Variance of the walk in one year, and of the rate's."""
    turn: FloatArray
    steps_a_year: FloatArray
    step_sd: FloatArray
    noise_ratio: FloatArray
    cosine: FloatArray
    sine: FloatArray
    season_sd: FloatArray

    @staticmethod
    def of(models: Sequence[CreepModel]) -> Figures:
        """Return those of `models`."""

        def column(figures: list[float]) -> FloatArray:
            return np.array(figures)[:, None, None]

        priors = [model.rate_priors for model in models]
        return Figures(
            shares=np.array([model.shares for model in models])[..., None],
            rate_means=np.array([means for means, _ in priors])[..., None],
            rate_sds=np.array([sds for _, sds in priors])[..., None],
            fading=np.array([model.fadings for model in models])[..., None],
            walk=column([model.walk_sd**2 for model in models]),
            turn=column([model.rate_walk_sd**2 for model in models]),
            steps_a_year=column([model.steps_a_year for model in models]),
            step_sd=column([model.step_sd for model in models]),
            noise_ratio=column([model.noise_ratio for model in models]),
            cosine=column([model.season[0] for model in models]),
            sine=column([model.season[1] for model in models]),
            season_sd=column([model.season_sd for model in models]),
        )

    def reach(self, elapsed: FloatArray) -> FloatArray:
        """Return how far a rate of 1 moves a deviation in `elapsed` years, (models, 3, units)."""
        return -np.expm1(-self.fading * elapsed) / self.fading

    def left(self, elapsed: FloatArray) -> FloatArray:
        """Return what is left of a rate of 1 after `elapsed` years, (models, 3, units)."""
        return np.exp(-self.fading * elapsed)
