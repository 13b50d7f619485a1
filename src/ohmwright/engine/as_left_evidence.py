"""What the as-left stage shows of adjusted points: the same load in the same mode at full setting.

Service mode is taken to key the mode's full setting. Where a unit does otherwise, a point seems to
have moved, and the check in service mode that follows says that it has not.
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
"""A current as left that differs from the adjusted one by more shows that the point has moved."""


@dataclass(frozen=True)
class AsLeftEvidence:
    """The as-left stage of a procedure on a generator model, and all results so far."""

    procedure: Procedure
    generator: GeneratorData
    results: Sequence[Result]

    def of(self, adjusted: Result) -> _Evidence:
        """Return what values as left, measured since trims were moved last, say of a point.

        "none" where no value as left can say anything of it.
        """
        names = self._twin(adjusted)
        if names is None:
            return "none"
        twin = self._latest_since_moves(names)
        if twin is None:
            return "to come"
        if twin.measured is None or adjusted.measured is None or adjusted.target is None:
            return "none"
        current_ma = twin.measured.value
        if twin.measured.quantity == "power_w":
            current_ma = 1000 * sqrt(max(current_ma, 0.0) / (adjusted.load_ohm or 1.0))
        moved_ma = abs(current_ma - adjusted.measured.value)
        return "moved" if moved_ma > _MOVED_TOLERANCES * adjusted.target.half_width else "stayed"

    def _latest_since_moves(self, names: tuple[str, str]) -> Result | None:
        """Return the latest as-left result of a step and point since a trim was moved last."""
        for result in reversed(self.results):
            if result.stage == "adjust" and result.again != "checked":
                return None
            if result.stage == "as_left" and (result.step, result.point) == names:
                return result
        return None

    def _twin(self, adjusted: Result) -> tuple[str, str] | None:
        """Return step and point of the as-left stage with the same mode, load, and full setting."""
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
