"""What values as left show of adjusted points: that one has moved since, or was not saved.

The as-left point that corresponds to it has the same mode and load, at full setting, which service
mode is assumed to key. Where a unit keys another setting, a point seems to have moved, and the
check in service mode that follows shows that it has not.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import hypot, sqrt
from typing import Literal, NamedTuple

from ohmwright.model.hardware import GeneratorData
from ohmwright.model.result import Measured, Result

from .point_measurement import OutputPointsStep
from .procedure import Procedure

_Evidence = Literal["none", "to come", "moved", "stayed"]
MAY_BE_UNSAVED = "the adjustment may not have been saved"
"""Said where an adjusted point is contradicted; a person is to look before the unit leaves."""
_MOVED_TOLERANCES = 0.5
"""Difference of the currents as left and as adjusted above which the point has moved."""


def may_be_unsaved(result: Result) -> bool:
    """Return whether a result says that what was adjusted may not have been saved."""
    return MAY_BE_UNSAVED in result.reason


class _Current(NamedTuple):
    """A current with its expanded uncertainty."""

    value_ma: float
    expanded_ma: float

    def __str__(self) -> str:
        return f"{self.value_ma:.0f} ± {self.expanded_ma:.0f} mA"


def _as_current(measured: Measured, load_ohm: float | None) -> _Current:
    """Return a value, mA or W into a load, as a current of half the power's relative U."""
    value, expanded = measured.value, measured.expanded or 2 * measured.uncertainty
    if measured.quantity != "power_w":
        return _Current(value, expanded)
    current_ma = 1000 * sqrt(max(value, 0.0) / (load_ohm or 1.0))
    return _Current(current_ma, 0.5 * current_ma * expanded / value if value > 0 else 0.0)


def corresponding_point(
    procedure: Procedure, generator: GeneratorData, name: str, load_ohm: float | None
) -> tuple[str, str] | None:
    """Return step and point as left that show adjustment point `name`; None where none does.

    It has the same mode and load, at full setting.
    """
    data = generator.point(name)
    mode = None if data is None else generator.mode(data.mode)
    if mode is None:
        return None
    for step in procedure.steps_in("as_left"):
        if isinstance(step, OutputPointsStep) and step.mode == mode.name:
            for point in step.points():
                if (point.load_ohm, point.setting_w) == (load_ohm, mode.max_setting_w):
                    return step.name, point.name
    return None


@dataclass(frozen=True)
class AsLeftEvidence:
    """The as-left stage of a procedure on a generator model, held against the results so far."""

    procedure: Procedure
    generator: GeneratorData
    results: Sequence[Result]
    """Of the run so far; the caller appends those that come."""

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
        current_ma = _as_current(left.measured, adjusted.load_ohm).value_ma
        moved_ma = abs(current_ma - adjusted.measured.value)
        return "moved" if moved_ma > _MOVED_TOLERANCES * adjusted.target.half_width else "stayed"

    def contradicting(self, left: Result) -> str:
        """Return what was adjusted that a value as left contradicts, as a clause; empty where none.

        `left` is none of the results yet. Its current then differs from that of an adjusted point
        by more than the uncertainties of both, and by as much as a point that has moved.
        """
        for adjusted in self._latest_adjusted():
            names = self._corresponding_point(adjusted)
            if names != (left.step, left.point) or not (left.measured and adjusted.measured):
                continue
            landed = _as_current(adjusted.measured, adjusted.load_ohm)
            now = _as_current(left.measured, left.load_ohm)
            differ_ma = abs(now.value_ma - landed.value_ma)
            moved = _MOVED_TOLERANCES * adjusted.target.half_width if adjusted.target else 0.0
            if differ_ma > max(moved, hypot(now.expanded_ma, landed.expanded_ma)):
                return (
                    f"{adjusted.point} landed at {landed} in service mode, and {now} flows now "
                    f"into the same load at full setting: {MAY_BE_UNSAVED}, service mode keys "
                    "another setting, or the output has drifted since"
                )
        return ""

    def _latest_adjusted(self) -> Iterator[Result]:
        """Yield the latest result of each point that was adjusted and passed."""
        latest = {r.point: r for r in self.results if r.stage == "adjust"}
        yield from (r for r in latest.values() if r.verdict == "pass")

    def _latest_since_moves(self, names: tuple[str, str]) -> Result | None:
        """Return the latest as-left result of a step and point since a trim was moved last."""
        for result in reversed(self.results):
            if result.stage == "adjust" and result.again != "checked":
                return None  # a trim was moved: only a check moves none
            if result.stage == "as_left" and (result.step, result.point) == names:
                return result
        return None

    def _corresponding_point(self, adjusted: Result) -> tuple[str, str] | None:
        """Return step and point as left that show an adjusted point; None where none does."""
        return corresponding_point(
            self.procedure, self.generator, adjusted.point, adjusted.load_ohm
        )
