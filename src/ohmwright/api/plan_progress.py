"""How far a run has come in its plan: what is done, where it is, what comes next, how long yet."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import islice

from ohmwright.engine.stage import PointKey
from ohmwright.model.step import Stage

from .run_pace import RunPace
from .run_picture import STAGE_WORDS
from .run_plan import PlannedPoint


class PlanProgress:
    """Follows a run through the points of its plan.

    `finished`: points that an earlier part of the run has done and that are not measured again.
    """

    def __init__(self, plan: Sequence[PlannedPoint], finished: Iterable[PointKey]) -> None:
        self.pace = RunPace()
        self.stage: Stage | None = None
        """The present stage; None before the first."""
        self.step = ""
        """The name of the present step; empty before the first of a stage."""
        self._plan = {point.key: point for point in plan}
        self._done = set(finished) & self._plan.keys()
        self._seen_steps: set[tuple[Stage, str]] = set()

    @property
    def points_done(self) -> int:
        """How many points of the plan have a result."""
        return len(self._done)

    @property
    def points_total(self) -> int:
        """How many points the plan has."""
        return len(self._plan)

    def begin_stage(self, stage: Stage) -> None:
        """Go on to a stage."""
        self.stage, self.step = stage, ""

    def begin_step(self, stage: Stage, step: str) -> None:
        """Go on to a step; the points of one that was begun before are measured anew."""
        if (stage, step) in self._seen_steps:
            self._done -= {done for done in self._done if done[:2] == (stage, step)}
        self._seen_steps.add((stage, step))
        self.stage, self.step = stage, step

    def point_done(self, key: PointKey, bench_s: float) -> None:
        """Take the result of a point at the time `bench_s` of the bench's clock."""
        if key in self._plan:
            self._done.add(key)
            self.pace.point_done(self._plan[key], bench_s)

    def missing(self) -> list[PlannedPoint]:
        """Return the points without a result, in their order."""
        return [point for key, point in self._plan.items() if key not in self._done]

    def here(self, missing: Sequence[PlannedPoint]) -> PlannedPoint | None:
        """Return the first point of `missing` where it is of the present step, else None."""
        return missing[0] if missing and self._is_here(missing[0]) else None

    def comes_next(self, missing: Sequence[PlannedPoint]) -> str:
        """Return what follows on the present point: its step is named where it is another one."""
        following = next(islice(missing, 0 if self.here(missing) is None else 1, None), None)
        if following is None:
            return "the end of the run"
        if self._is_here(following):
            return following.point
        is_step = following.point == following.step
        named = following.point if is_step else f"{following.step}, {following.point}"
        return (
            named if following.stage == self.stage else f"{STAGE_WORDS[following.stage]}: {named}"
        )

    def _is_here(self, point: PlannedPoint) -> bool:
        return (point.stage, point.step) == (self.stage, self.step)
