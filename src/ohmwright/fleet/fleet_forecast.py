"""What is to be expected of every unit on record: point by point, and of the unit as a whole.

A unit is out of tolerance when any of its points is. Its risk is taken as that of its riskiest
point: points of one unit share its sensors, so that they leave their limits together. Were they
independent, the risk would be up to the sum over the points.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .creep_filter import CreepStates, Histories, filtered
from .creep_fit import fit_creep
from .creep_forecast import ExpectedState, expected_truth, expected_value
from .creep_model import CreepModel, FloatArray
from .point_histories import PointHistories, PointLimits

FitModel = Callable[[Histories], Sequence[CreepModel]]
_UNLIKE = 2
"""Index of the group of units that creep unlike their model."""


@dataclass(frozen=True, slots=True, eq=False)
class PointForecast:
    """One point of a model: its units, and where each stands."""

    of: PointHistories
    states: CreepStates
    places: npt.NDArray[np.intp]
    """Of its units among those of the fleet."""

    @property
    def limits(self) -> tuple[PointLimits, ...]:
        """Of each unit."""
        return self.of.limits

    def truth(self, times: FloatArray) -> ExpectedState:
        """Return what the true deviations are at `times` (units of this point,)."""
        return expected_truth(self.states, times)

    def value(self, times: FloatArray) -> ExpectedState:
        """Return what will be measured at `times`, as well as at the last visit."""
        return expected_value(self.states, times, self.states.stated_u)

    def risk(self, times: FloatArray) -> FloatArray:
        """Return the probability of each unit of being out of tolerance at `times`."""
        ones = np.ones(len(times))
        lower = np.where([limits.one_sided for limits in self.limits], -np.inf, -ones)
        return self.truth(times).outside(lower, ones)

    def rates(self) -> tuple[FloatArray, FloatArray]:
        """Return mean and standard deviation of each unit's rate now, in tolerances a year."""
        states = self.states
        shares = states.shares / len(states.models)
        mean = (shares * states.means[1]).sum(axis=(0, 1))
        square = (shares * (states.covariances[1, 1] + states.means[1] ** 2)).sum(axis=(0, 1))
        return mean, np.sqrt(np.maximum(0.0, square - mean**2))

    def unlike(self) -> FloatArray:
        """Return the probability that each unit creeps unlike its model."""
        unlike: FloatArray = self.states.shares[:, _UNLIKE].mean(axis=0)
        return unlike


@dataclass(frozen=True, slots=True, eq=False)
class FleetForecast:
    """Every unit on record with the points that it has values of."""

    assets: tuple[str, ...]
    models: tuple[str, ...]
    """Of each unit, as in its newest result."""
    last_at: FloatArray
    """When each unit was seen last, in years since 2000."""
    points: tuple[PointForecast, ...]

    def risk(self, times: FloatArray) -> FloatArray:
        """Return the probability of each unit of being out of tolerance at `times` (units,)."""
        risk = np.zeros(len(self.assets))
        for point in self.points:
            np.maximum.at(risk, point.places, point.risk(times[point.places]))
        return risk


def fleet_forecast(histories: Iterable[PointHistories], fit: FitModel = fit_creep) -> FleetForecast:
    """Return what is to be expected of all units; `fit` learns the models of a point."""
    every = list(histories)
    model_of, last_of = _units(every)
    places = {asset: place for place, asset in enumerate(model_of)}
    points = tuple(
        PointForecast(
            of,
            filtered(fit(of.seen), of.seen),
            np.array([places[asset] for asset in of.assets], dtype=np.intp),
        )
        for of in every
    )
    return FleetForecast(
        tuple(model_of), tuple(model_of.values()), np.array([*last_of.values()]), points
    )


def _units(every: Iterable[PointHistories]) -> tuple[dict[str, str], dict[str, float]]:
    """Return model and last time of each unit, by rising name."""
    model_of: dict[str, str] = {}
    last_of: dict[str, float] = {}
    for of in every:
        newest = np.where(of.seen.known, of.seen.times, -np.inf).max(axis=1)
        for asset, last in zip(of.assets, newest.tolist(), strict=True):
            if last >= last_of.get(asset, -np.inf):
                model_of[asset], last_of[asset] = of.model, last
    order = sorted(model_of)
    return {asset: model_of[asset] for asset in order}, {asset: last_of[asset] for asset in order}
