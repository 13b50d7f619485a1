"""How far from its target an output may lie and pass, before any reading of it has been taken.

Of an upper limit alone, as a leakage's, all distances count from zero.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from math import ceil, floor, log10, sqrt

from ohmwright.estimation.settled_value import Settled
from ohmwright.model.hardware import MeterData
from ohmwright.model.result import AMPLE_DOF, Measured
from ohmwright.model.step import Point, Timing

from .asked_current import asked_current_ma
from .judge import room_to_pass
from .measured_value import Accuracy, linear_measured_value

_SURE_SDS = 3.0
"""Standard deviations by which a value must lie inside: the stop rules ask for 99 % of a test point
and 99.6 % of an adjustment, which are 2.3 and 2.7; the rest is a margin without source."""
_DECIDED_SHARE = 0.5
"""Part of the room in which an output must be seen to be inside; no source."""
_WIDEST, _HALVINGS = 1000.0, 40
"""Largest factor by which a tolerance is widened in search of one that will do, and most halvings
of the last doubling, which are more than two digits need; no source."""


@dataclass(frozen=True)
class Room:
    """The room of one point: what its rule accepts with the uncertainty that no reading removes.

    `accuracy`: by the analyzer's certificate; None without one, when no such uncertainty is known.
    """

    point: Point
    timing: Timing
    meter: MeterData
    accuracy: Accuracy | None

    @property
    def target_ma(self) -> float:
        """The current on target."""
        return asked_current_ma(self.point)

    @property
    def digit_ma(self) -> float:
        """The last digit of meter or certificate, whichever is coarser."""
        stated_ma = 0.0 if self.accuracy is None else self.accuracy.resolution_ma(self.target_ma)
        return max(self.meter.resolution_ma, stated_ma)

    @cached_property
    def on_target(self) -> Measured:
        """An output on target that is read without scatter."""
        exact = Settled(self.target_ma, 0.0, AMPLE_DOF, 0.0, settled=True)
        quantity, load_ohm = self.point.target.quantity, self.point.load_ohm
        return linear_measured_value(exact, quantity, load_ohm, self.timing, self.accuracy)

    @cached_property
    def room_ma(self) -> float:
        """How far from the target a current read without scatter may lie and pass; 0: nowhere."""
        target = self.point.target
        room = room_to_pass(self.on_target, target, self.point.decision)
        if target.quantity == "current_ma":
            return room
        return 0.5 * room / target.value * self.target_ma  # P = I² R

    @property
    def largest_sd_ma(self) -> float:
        """The standard uncertainty that leaves half of the room decided."""
        return (1 - _DECIDED_SHARE) * self.room_ma / _SURE_SDS

    @property
    def width(self) -> float:
        """The narrower side of the tolerance, or a limit alone, in the unit of the target."""
        return self.point.target.half_width or self.point.target.value

    def around(self, figure: str) -> str:
        """Say the interval that reaches so far from the target."""
        return f"0 to {figure}" if self.point.target.one_sided else f"±{figure}"

    def seen_to_pass(self, sd_ma: float) -> str:
        """Say where an output is seen to pass, as a clause, if its value has that `sd_ma`."""
        left_ma = self.room_ma - _SURE_SDS * sd_ma
        seen = f"an output is seen to pass only within {self.around(f'{left_ma:.2g}')} mA"
        seen = seen if left_ma > 0 else "no output is seen to pass"
        return f"{seen}, where {self.around(f'{self.room_ma:.3g}')} mA are accepted"

    @property
    def digit_decides(self) -> bool:
        """Whether the digit leaves half of the room decided: its rectangle has sd digit / √12."""
        return self.digit_ma / sqrt(12) <= self.largest_sd_ma

    def tolerance_for(self, will_do: Callable[[Room], bool]) -> str:
        """Say which tolerance is the narrowest that `will_do`, none narrower than the point's."""
        target = self.point.target
        factor = self._least_factor(will_do, lambda factor: rounded_up(factor * self.width))
        if factor is None:
            return "no tolerance"
        width = f"{rounded_up(factor * self.width):g} {target.unit}"
        return f"a limit of {width}" if target.one_sided else f"a tolerance of ±{width}"

    def _least_factor(
        self, will_do: Callable[[Room], bool], as_told: Callable[[float], float]
    ) -> float | None:
        """Return the least factor, 1 or more, by which a tolerance that `will_do` is wider.

        By bisection, until both ends of the interval are the same figure `as_told`.
        """
        low, high = 1.0, 1.0
        while not will_do(self._widened(high)):
            low, high = high, 2 * high
            if high > _WIDEST:
                return None
        for _ in range(_HALVINGS):
            if as_told(low) == as_told(high):
                break
            middle = 0.5 * (low + high)
            low, high = (low, middle) if will_do(self._widened(middle)) else (middle, high)
        return high

    def _widened(self, factor: float) -> Room:
        target = self.point.target
        centre = 0.0 if target.one_sided else target.value
        wider = {
            "lower": centre + factor * (target.lower - centre),
            "upper": centre + factor * (target.upper - centre),
        }
        value = factor * target.value if target.one_sided else target.value
        point = self.point.model_copy(
            update={"target": target.model_copy(update={**wider, "value": value})}
        )
        return replace(self, point=point)


def narrowest_tolerance_ma(meter: MeterData) -> float:
    """Return the narrowest tolerance that a meter's digit decides, in mA to either side.

    For a rule that takes nothing of the tolerance.
    """
    return _SURE_SDS * meter.resolution_ma / sqrt(12) / (1 - _DECIDED_SHARE)


def rounded_up(value: float) -> float:
    """Return `value`, above zero, with two significant digits, not smaller.

    Except by a millionth of a digit, by which sums of floats may be off.
    """
    digit = 10.0 ** (floor(log10(value)) - 1)
    return round(ceil(value / digit - 1e-6) * digit, 12)


def rounded_down(value: float) -> float:
    """Return `value` likewise, not larger."""
    digit = 10.0 ** (floor(log10(value)) - 1)
    return round(floor(value / digit + 1e-6) * digit, 12)
