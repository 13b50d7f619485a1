"""The step kind `adjust`: the trim of one point is moved until the current is on target."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator, Mapping
from typing import ClassVar, Literal

from pydantic import model_validator

from ohmwright.engine.adjust import adjust_point
from ohmwright.engine.requirements import (
    Abilities,
    Complaint,
    full_power_w,
    points_within_range,
    power_within_rating,
    time_within_limits,
)
from ohmwright.instruments.required_messages import SERVICE
from ohmwright.model.event import Event
from ohmwright.model.hardware import GeneratorData, Positive, ServicePoint
from ohmwright.model.seen_text import seen_text
from ohmwright.model.step import Point, Stage, Timing, check_units
from ohmwright.model.tolerance import Target, Tolerance, target_of
from ohmwright.wire.command_set import Verb

from .base import StatedCondition, StepRun, TimedStep, ValueRule


class AdjustStep(TimedStep):
    """One adjustment point: its trim is moved until the current is on target."""

    generator_messages: ClassVar[tuple[Verb, ...]] = SERVICE
    has_output_budget: ClassVar[bool] = True
    value_rule: ClassVar[ValueRule | None] = "confirmed"
    kind: Literal["adjust"]
    stages: tuple[Stage, ...] = ("adjust",)
    point: str
    load_ohm: Positive
    current_ma: Positive
    tolerance: Tolerance

    @model_validator(mode="after")
    def _units_fit(self) -> AdjustStep:
        check_units("current_ma", self.tolerance)
        if self.stages != ("adjust",):
            raise ValueError(f"step '{self.name}': an adjust step belongs to stage 'adjust'")
        return self

    def point_names(self) -> tuple[str, ...]:
        """Return the name of the adjustment point."""
        return (self.point,)

    def target_point(self) -> Point:
        """Return the adjustment point with its load, target and decision rule."""
        target = target_of("current_ma", self.current_ma, self.tolerance)
        return Point(name=self.point, load_ohm=self.load_ohm, target=target, decision=self.rule)

    def stated_targets(self) -> Mapping[str, Target]:
        """Return the target of the adjustment point."""
        return {self.point: self.target_point().target}

    def stated_conditions(self) -> Mapping[str, StatedCondition]:
        """Return the load of the adjustment point; its mode is the generator data's."""
        return {self.point: StatedCondition(None, None, self.load_ohm)}

    def judged_points(self) -> tuple[Point, ...]:
        """Return the adjustment point."""
        return (self.target_point(),)

    def service_point(self, generator: GeneratorData) -> ServicePoint | None:
        """Return the adjustment point in the generator's data; None where they lack it."""
        return generator.point(self.point)

    def requirements(self, bench: Abilities, timing: Timing) -> Iterator[Complaint]:
        """Complain where service mode, point, power, time, load or range is missing."""
        yield from self._service(bench.generator, timing)
        yield from self._within_current_limit(bench.generator)
        yield from power_within_rating(
            full_power_w(bench.generator, self.point), bench, key="point"
        )
        yield from time_within_limits(timing.max_on_s, bench)
        yield from points_within_range([self.target_point()], bench)

    def _service(self, generator: GeneratorData, timing: Timing) -> Iterator[Complaint]:
        if generator.service is None:
            yield "kind", f"{generator.model} has no service mode"
            return
        if generator.point(self.point) is None:
            names = ", ".join(point.name for point in generator.service.points)
            have = f"{generator.model} has no adjustment point '{self.point}'; it has {names}"
            yield "point", seen_text(have)
        if timing.max_on_s > generator.service.timeout_s:
            timeout = f"the service mode's {generator.service.timeout_s:g} s"
            yield "max_on_s", f"the activation would outlast {timeout}"

    def _within_current_limit(self, generator: GeneratorData) -> Iterator[Complaint]:
        """Complain where all that passes is beyond the current limit that the maker states."""
        point = generator.point(self.point)
        mode = None if point is None else generator.mode(point.mode)
        if mode is None or mode.max_current_ma is None:
            return
        if self.target_point().target.lower > mode.max_current_ma:
            limit = seen_text(f"{mode.name}'s current limit of {mode.max_current_ma:g} mA")
            yield "current_ma", f"{self.current_ma:g} mA is more than {limit}"

    def run(self, work: StepRun) -> AsyncIterator[Event]:
        """Adjust the point, confirm it, and store the trims; yield the events."""
        return adjust_point(self, self.target_point(), work)
