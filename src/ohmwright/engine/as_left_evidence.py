"""Whether values as left show that an adjusted point has moved since it was adjusted.

The as-left point that corresponds to it has the same mode and load, at full setting, which service
mode is assumed to key. Where a unit keys another setting, a point seems to have moved, and the
check in service mode that follows shows that it has not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Literal

from ohmwright.model.hardware import GeneratorData
from ohmwright.model.result import Result

from .point_measurement import OutputPointsStep
from .procedure import Procedure

_Evidence = Literal["none", "to come", "moved", "stayed"]
_MOVED_TOLERANCES = 0.5
"""Difference of the currents as left and as adjusted above which the point has moved."""


@dataclass(frozen=True)
class AsLeftEvidence:
    """The as-left stage of a procedure on a generator model, and all results so far."""

    procedure: Procedure
    generator: GeneratorData
    results: Sequence[Result]

    def of(self, adjusted: Result) -> _Evidence:
        """Return what the value as left, measured since trims were moved last, shows of a point.

        "none" where the stage has no corresponding point, or that has no value.
        """
        names = self._corresponding_point(adjusted)
        if names is None:
            return "none"
        left = self._latest_since_moves(names)
        if left is None:
            return "to come"
        if left.measured is None or adjusted.measured is None or adjusted.target is None:
            return "none"
        current_ma = left.measured.value
        if left.measured.quantity == "power_w":
            current_ma = 1000 * sqrt(max(current_ma, 0.0) / (adjusted.load_ohm or 1.0))
        moved_ma = abs(current_ma - adjusted.measured.value)
        return "moved" if moved_ma > _MOVED_TOLERANCES * adjusted.target.half_width else "stayed"

    def _latest_since_moves(self, names: tuple[str, str]) -> Result | None:
        """Return the latest as-left result of a step and point since a trim was moved last."""
        for result in reversed(self.results):
            if result.stage == "adjust" and result.again != "checked":
                return None  # a trim was moved: only a check moves none
            if result.stage == "as_left" and (result.step, result.point) == names:
                return result
        return None

    def _corresponding_point(self, adjusted: Result) -> tuple[str, str] | None:
        """Return step and point as left in the same mode and load at full setting, None without."""
        data = self.generator.point(adjusted.point)
        mode = None if data is None else self.generator.mode(data.mode)
        if mode is None:
            return None
        for step in self.procedure.steps_in("as_left"):
            if isinstance(step, OutputPointsStep) and step.mode == mode.name:
                for point in step.points():
                    at = (point.load_ohm, point.setting_w)
                    if at == (adjusted.load_ohm, mode.max_setting_w):
                        return step.name, point.name
        return None
