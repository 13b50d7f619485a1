"""How warm a unit is: its time with RF on, and the drift from one activation to the next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import inf, isinf

from ohmwright.estimation.settled_value import Settled
from ohmwright.estimation.thermal_droop import ResidualWarmth
from ohmwright.estimation.weighted_slope import weighted_slope
from ohmwright.model.result import Measured
from ohmwright.uncertainty.budget import combine
from ohmwright.uncertainty.inputs import Input

from .measured_value import READINGS, measured_of_budget
from .rested_activation import ActivationReadings
from .stop_rules import UntilSettled

ACTIVATIONS_OF_DRIFT = 3
"""The latest activations whose values show the drift; fewer show no more than their scatter."""


class FullLength(UntilSettled):
    """Stop rule of an activation that is to warm the unit: it lasts a stated time."""

    def __init__(
        self,
        at_age_s: float,
        window_s: float,
        resolution_ma: float,
        warmth: ResidualWarmth,
        on_s: float | None,
    ) -> None:
        """`on_s`: that time, at least `at_age_s`; None: until the activation's limit."""
        super().__init__(at_age_s, window_s, resolution_ma, warmth)
        self._on_s = inf if on_s is None else max(on_s, at_age_s)

    def read(self, age_s: float, current_ma: float) -> bool:
        """Take a reading; return True when the activation is old enough."""
        self.add_reading(age_s, current_ma)
        return age_s >= self._on_s


@dataclass
class Warming:
    """The activations so far of one warm-up."""

    age_s: float
    """Age at which the value of an activation holds."""
    on_s: float = 0.0
    """Time with RF on, all together."""
    values: list[Settled] = field(default_factory=list)
    """The current of each activation at that age, in mA."""

    def add(self, seen: ActivationReadings) -> None:
        """Add an activation; one whose readings give no value counts for its time alone."""
        self.on_s += seen.on_s
        if seen.settled is not None and not isinf(seen.settled.uncertainty):
            self.values.append(seen.settled)

    def drift(self) -> Measured | None:
        """Return the change from one activation to the next, in percent, without its sign.

        None before there are enough activations. Meter and load are the same in each, so their
        errors are no part of it.
        """
        latest = self.values[-ACTIVATIONS_OF_DRIFT:]
        if len(latest) < ACTIVATIONS_OF_DRIFT:
            return None
        line = weighted_slope(
            range(ACTIVATIONS_OF_DRIFT),
            [value.value for value in latest],
            [value.uncertainty for value in latest],
        )
        percent = 100 / latest[-1].value
        readings = Input(READINGS, 0.0, percent * line.uncertainty, _least_dof(latest), "student t")
        budget = combine(abs(percent * line.value), (readings,), (1.0,))
        return measured_of_budget(budget, "drift_percent", self.age_s)


def _least_dof(values: Sequence[Settled]) -> float:
    return min(value.dof for value in values)
