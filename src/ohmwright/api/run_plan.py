"""The points of a run in their order, known before it begins, with the time that each may take."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from ohmwright.engine.procedure import Procedure
from ohmwright.engine.stage import PointKey
from ohmwright.engine.steps.adjust import AdjustStep
from ohmwright.engine.steps.base import ModeStep, SettingStep, Step, TimedStep
from ohmwright.model.step import Stage

_HANDLING_S = 1.0
"""Keying mode and setting, setting the load, ON, OFF and reading back, for each point."""
_PERSON_S = 20.0
"""A point that no activation belongs to is a question to a person."""
_ADJUSTING_ACTIVATIONS = 2.0
"""An adjustment takes about one activation up to its limit, and a shorter one that confirms it."""
_BY_HAND = 2.0
"""How many times as long an adjustment takes where presses are asked for and seen one by one."""


@dataclass(frozen=True)
class PlannedPoint:
    """One point that must have a result, and what is known of it beforehand."""

    stage: Stage
    step: str
    point: str
    kind: str
    """The kind of its step."""
    expected_s: float
    """Bench time that it may take with the rest before it, by the times of the procedure."""
    timed: bool = True
    """Whether RF is keyed for it; else a person answers a question."""
    mode: str | None = None
    setting_w: float | None = None
    load_ohm: float | None = None

    @property
    def key(self) -> PointKey:
        """Stage, step and point."""
        return self.stage, self.step, self.point


def planned_points(
    procedure: Procedure, stages: Iterable[Stage], *, by_hand: bool = False
) -> tuple[PlannedPoint, ...]:
    """Return every point of `stages` in measuring order.

    `by_hand`: whether a person works the keys of the unit.
    """
    return tuple(
        replace(point, expected_s=_BY_HAND * point.expected_s)
        if by_hand and point.stage == "adjust" and point.timed
        else point
        for stage in stages
        for step in procedure.steps_in(stage)
        for point in _points_of(stage, step, procedure)
    )


def paced_points(
    points: Sequence[PlannedPoint], point_s: Sequence[float]
) -> tuple[PlannedPoint, ...]:
    """Return `points` with the bench times `point_s`, where a better estimate is known."""
    return tuple(
        replace(point, expected_s=expected_s)
        for point, expected_s in zip(points, point_s, strict=True)
    )


def _points_of(stage: Stage, step: Step, procedure: Procedure) -> list[PlannedPoint]:
    loads = {p.name: p.load_ohm for p in step.points()} if isinstance(step, SettingStep) else {}
    if isinstance(step, AdjustStep):
        loads = {step.point: step.load_ohm}
    return [
        PlannedPoint(
            stage,
            step.name,
            name,
            step.kind,
            _expected_s(step, procedure),
            timed=isinstance(step, TimedStep),
            mode=step.mode if isinstance(step, ModeStep) else None,
            setting_w=step.setting_w if isinstance(step, SettingStep) else None,
            load_ohm=loads.get(name),
        )
        for name in step.point_names()
    ]


def _expected_s(step: Step, procedure: Procedure) -> float:
    if not isinstance(step, TimedStep):
        return _PERSON_S
    timing = procedure.timing(step)
    activations = _ADJUSTING_ACTIVATIONS if isinstance(step, AdjustStep) else 1.0
    return activations * (timing.rest_s + timing.age_s + _HANDLING_S)
