"""HF leakage: a current that must stay small while RF is known to flow."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator
from math import sqrt
from typing import ClassVar, Literal

from pydantic import model_validator

from ohmwright.engine.delivery import proof_of_delivery
from ohmwright.engine.doubt import Chosen, Doubt, doubt_in, least_output_ma
from ohmwright.engine.point_measurement import Observation, observe
from ohmwright.engine.requirements import Abilities, Complaint, points_within_range
from ohmwright.engine.undoubted import Undoubted
from ohmwright.instruments.required_messages import LEAKAGE
from ohmwright.model.decision import NEEDS_TWO_LIMITS
from ohmwright.model.event import Event
from ohmwright.model.hardware import Positive
from ohmwright.model.step import Point, Timing
from ohmwright.model.tolerance import at_most
from ohmwright.wire.command_set import Verb

from .base import SettingStep, StepRun


class LeakageStep(SettingStep):
    """HF leakage current, which must stay at or below a limit."""

    analyzer_messages: ClassVar[tuple[Verb, ...]] = LEAKAGE
    kind: Literal["leakage"]
    load_ohm: Positive = 200.0
    """The measuring resistance."""
    limit_ma: Positive | None = None
    rated_power_w: Positive | None = None
    """Instead of `limit_ma`: the limit is the current that makes `limit_percent` of this power."""
    limit_percent: Positive = 1.0
    """For bipolar outputs, 201.8.7.3.101 a) 3) of IEC 60601-2-2, from memory, unverified."""

    @model_validator(mode="after")
    def _one_limit(self) -> LeakageStep:
        if (self.limit_ma is None) == (self.rated_power_w is None):
            raise ValueError("give exactly one of limit_ma and rated_power_w")
        if isinstance(self.decision, NEEDS_TWO_LIMITS):
            raise ValueError(
                f"the rule '{self.decision.rule}' needs two limits and leakage has one; give step "
                f"'{self.name}' a decision of its own, such as {{ rule = \"simple acceptance\" }}"
            )
        return self

    def points(self) -> tuple[Point, ...]:
        """The one point."""
        limit_ma = self.limit_ma
        if limit_ma is None:
            allowed_w = (self.rated_power_w or 0.0) * self.limit_percent / 100
            limit_ma = 1000 * sqrt(allowed_w / self.load_ohm)
        return (
            Point(
                name="leakage",
                load_ohm=self.load_ohm,
                target=at_most("current_ma", limit_ma),
                decision=self.rule,
                setting_w=self.setting_w,
            ),
        )

    def requirements(self, bench: Abilities, timing: Timing) -> Iterator[Complaint]:
        """Mode, setting, time, range, and an analyzer with a leakage path of that resistance."""
        yield from super().requirements(bench, timing)
        path_ohm = bench.analyzer.leakage_load_ohm
        if path_ohm is None:
            yield "kind", "the analyzer has no HF leakage path"
        elif self.load_ohm != path_ohm:
            yield "load_ohm", f"the leakage path measures in {path_ohm:g} ohm"
        yield from points_within_range(self.points(), bench, loaded=False)

    async def run(self, work: StepRun) -> AsyncIterator[Event]:
        """Show that the unit delivers at this mode and setting, then measure what leaks.

        Without output a small leakage says nothing, and neither does a path that shows nothing at
        all: then the point is not measured, unless a person knows better.
        """
        session, point = work.session, self.points()[0]
        chosen = Chosen(self.mode, self.setting_w)
        delivery = proof_of_delivery(session, chosen, work.timing)
        await session.bench.generator.select(*chosen)
        await session.input.join("OUTPUT")
        async for event in delivery.events():
            yield event
        if delivery.as_told is not None:
            nothing = Observation("not measured", "", None, None, 0.0, ()).as_told(delivery.as_told)
            yield session.point_done(nothing.result(work.stage, self, point), "none", *chosen)
            return
        leak = _activation(work, chosen, point)
        async for event in leak.events():
            yield event
        seen = leak.seen if leak.as_told is None else leak.seen.as_told(leak.as_told)
        yield session.point_done(seen.result(work.stage, self, point), "LEAKAGE", *chosen)


def _activation(work: StepRun, chosen: Chosen, point: Point) -> Undoubted[Observation]:
    session, timing = work.session, work.timing
    least_ma = least_output_ma(session, asked_ma=0.0)

    async def measure() -> Observation:
        seen = await observe(
            session,
            point,
            power_w=chosen.setting_w,
            timing=timing,
            fetch=session.bench.analyzer.fetch_leakage,
        )
        # only on the output path would RF that stayed on be seen to flow
        await session.input.join("OUTPUT")
        await session.confirm_nothing_flows()
        return seen

    def doubt(seen: Observation) -> Doubt | None:
        return None if doubt_in(seen.samples, least_ma) is None else "no leakage"

    return Undoubted(
        session,
        chosen,
        point.load_ohm,
        timing.max_on_s,
        measure,
        doubt,
        lambda _: "",
        prepare=lambda: session.input.join("LEAKAGE"),
    )
