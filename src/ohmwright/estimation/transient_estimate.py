"""What goes into the estimate of an activation with moves in it, and what comes out of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .mixture import Mixture
from .prior import LEVEL, TransientPrior
from .step_response import Steps

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class ActivationRecord:
    """One activation so far: readings relative to the target, and what drove them."""

    age_s: Floats
    relative: Floats
    steps: Steps
    window_s: float
    resolution: float
    at_age_s: float
    heat: float


@dataclass(frozen=True)
class FitStart:
    """Where the last fit ended, to start the next one from."""

    dynamics: Floats
    linear: Floats
    correlation: float
    variance: float


@dataclass(frozen=True)
class TransientEstimate:
    """Posterior of coefficients (8,) as a mixture; `weight` (m,), `mean` (m, 8), `covariance`."""

    weight: Floats
    mean: Floats
    covariance: Floats
    dof: float
    floor: float
    hunting: float
    remainder: float
    """Lag still to come after the last reading, relative to the target, two deviations included."""
    start: FitStart

    @property
    def lag_s(self) -> float:
        """The likeliest first lag."""
        return float(np.exp(self.start.dynamics[0]))

    @property
    def dead_s(self) -> float:
        """The likeliest dead time."""
        return float(np.exp(self.start.dynamics[1]))

    def combination(self, vector: Floats) -> Mixture:
        """A linear combination of the coefficients, relative to the target."""
        floor = self.floor if vector[LEVEL] != 0 else 0.0
        variance = (self.covariance @ vector) @ vector + floor
        return Mixture(self.weight, self.mean @ vector, np.sqrt(variance), self.dof)

    def transient_prior(self) -> TransientPrior:
        """The posterior as one Gaussian, for the activation that follows."""
        mean = self.weight @ self.mean
        apart = self.mean - mean
        spread = np.einsum("m,mi,mj->ij", self.weight, apart, apart)
        covariance = np.einsum("m,mij->ij", self.weight, self.covariance) + spread
        return TransientPrior(mean, covariance)
