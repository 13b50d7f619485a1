"""The step kind `leakage`: HF leakage current, measured while RF is known to flow."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator
from math import sqrt
from typing import ClassVar, Literal

from pydantic import model_validator

from ohmwright.engine.delivery import proof_of_delivery
from ohmwright.engine.doubt import Doubt, OutputSetting
from ohmwright.engine.point_measurement import (
    Observation,
    doubt_of_typed,
    final_observation,
    measure_point,
)
from ohmwright.engine.requirements import Abilities, Complaint, points_within_range
from ohmwright.engine.undoubted import UndoubtedMeasurement, doubt_in, least_output_ma
from ohmwright.engine.watched_rest import confirm_nothing_flows
from ohmwright.instruments.required_messages import LEAKAGE
from ohmwright.model.event import Event
from ohmwright.model.hardware import Positive
from ohmwright.model.step import Point, Timing
from ohmwright.model.tolerance import at_most
from ohmwright.wire.command_set import Verb

from .base import SettingStep, StepRun, ValueRule


class LeakageStep(SettingStep):
    """HF leakage current, which must stay at or below a limit."""

    analyzer_messages: ClassVar[tuple[Verb, ...]] = LEAKAGE
    has_output_budget: ClassVar[bool] = True
    value_rule: ClassVar[ValueRule | None] = "decided"
    kind: Literal["leakage"]
    load_ohm: Positive = 200.0
    """The measuring resistance in the leakage path; 200 ohm by IEC 60601-2-2, from memory."""
    limit_ma: Positive | None = None
    rated_power_w: Positive | None = None
    """Instead of `limit_ma`: the limit is the current that makes `limit_percent` of this power."""
    limit_percent: Positive = 1.0
    """For bipolar outputs, 201.8.7.3.101 a) 3) of IEC 60601-2-2, from memory, unverified."""

    @model_validator(mode="after")
    def _one_limit(self) -> LeakageStep:
        if (self.limit_ma is None) == (self.rated_power_w is None):
            raise ValueError("give exactly one of limit_ma and rated_power_w")
        self.refuse_two_limit_rule()
        return self

    def without_effect(self) -> frozenset[str]:
        """Return the percentage where the limit is given in mA."""
        return frozenset() if self.limit_ma is None else frozenset({"limit_percent"})

    def points(self) -> tuple[Point, ...]:
        """Return the one point with its limit in mA."""
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
        """Complain where mode, setting, time, range or leakage path is out of the bench's."""
        yield from super().requirements(bench, timing)
        path_ohm = bench.analyzer.leakage_load_ohm
        if path_ohm is None:
            yield "kind", "the analyzer has no HF leakage path"
        elif self.load_ohm != path_ohm:
            yield "load_ohm", f"the leakage path measures in {path_ohm:g} ohm"
        yield from points_within_range(self.points(), bench, loaded=False)

    async def run(self, work: StepRun) -> AsyncIterator[Event]:
        """Prove that the unit delivers at this setting, then measure the leakage; yield events.

        A small leakage says nothing of a unit without output, nor does one through a path that may
        be open: the point is then not measured, unless a person has checked the cause.
        """
        session, point = work.session, self.points()[0]
        chosen = OutputSetting(self.mode, self.setting_w)
        delivery = proof_of_delivery(session, chosen, work.timing)
        await session.bench.generator.select(*chosen)
        await session.input.join("OUTPUT")
        async for event in delivery.events():
            yield event
        if delivery.verdict_instead is not None:
            nothing = Observation("not measured", "", None, None, 0.0, ()).with_verdict(
                delivery.verdict_instead
            )
            yield session.point_done(nothing.result(work.stage, self, point), "none", *chosen)
            return
        measured = _leakage_measurement(work, chosen, point)
        async for event in measured.events():
            yield event
        result = final_observation(measured).result(work.stage, self, point)
        yield session.point_done(result, "LEAKAGE", *chosen)


def _leakage_measurement(
    work: StepRun, chosen: OutputSetting, point: Point
) -> UndoubtedMeasurement[Observation]:
    """Return the measurement of `point`, which is repeated where it is in doubt."""
    session, timing = work.session, work.timing
    least_ma = least_output_ma(session, asked_ma=0.0)

    async def measure() -> Observation:
        fetch = session.bench.analyzer.fetch_leakage
        latest = await measure_point(session, point, chosen, timing, fetch)
        # only on the output path would RF that stayed on be seen to flow
        await session.input.join("OUTPUT")
        await confirm_nothing_flows(session)
        return latest

    def doubt(latest: Observation) -> Doubt | None:
        found = doubt_in(latest.samples, least_ma) or doubt_of_typed(session, latest)
        return "no leakage" if found == "no output" else found

    return UndoubtedMeasurement(
        session,
        chosen,
        point.load_ohm,
        timing.max_on_s,
        measure,
        doubt,
        lambda latest: latest.reason,
        prepare=lambda: session.input.join("LEAKAGE"),
    )
