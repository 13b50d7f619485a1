"""The step kind `monotonicity`: a higher setting of the control never gives less output."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator, Mapping, Sequence
from itertools import pairwise
from math import isinf
from typing import ClassVar, Literal

from pydantic import Field, model_validator

from ohmwright.engine.difference import difference
from ohmwright.engine.doubt import Doubt, OutputSetting, VerdictAndReason
from ohmwright.engine.judge import conformity, judge
from ohmwright.engine.measured_value import beyond_certificate, measured_value
from ohmwright.engine.requirements import (
    Abilities,
    Complaint,
    current_within_range,
    expected_ma,
    load_available,
    setting_within_mode,
    time_within_limits,
)
from ohmwright.engine.rested_activation import ActivationReadings, measure_settled_output
from ohmwright.engine.traceability import accuracy_at
from ohmwright.engine.undoubted import UndoubtedMeasurement, doubt_in, least_output_ma
from ohmwright.model.event import Event
from ohmwright.model.hardware import MANY, NotNegative, Positive
from ohmwright.model.result import Measured, Result, Verdict
from ohmwright.model.step import Timing
from ohmwright.model.tolerance import Target, at_most

from .base import ModeStep, StatedCondition, StepRun, ValueRule

_CLOSE_SETTINGS = 0.05
"""Relative spacing of settings beyond which the warmth left over cannot hide a difference."""

Level = tuple[float, Measured]
"""A setting in W and the power measured there."""


class MonotonicityStep(ModeStep):
    """The output must not rise when the control is turned down.

    201.12.4.3.101 and .102, from memory, unverified: the latter says that the output can be
    brought to 5 % of rated power or 10 W, whichever is smaller.
    """

    has_output_budget: ClassVar[bool] = True
    value_rule: ClassVar[ValueRule | None] = "settled"
    kind: Literal["monotonicity"]
    load_ohm: Positive
    settings_w: tuple[Positive, ...] = Field(min_length=2, max_length=MANY)
    allowance_w: NotNegative = 0.0
    """Drop of the output from one setting to a higher one that is allowed."""
    lowest_at_most_w: Positive | None = None
    """Most output allowed at the lowest setting; absent for no limit."""

    @model_validator(mode="after")
    def _rises(self) -> MonotonicityStep:
        if any(low >= high for low, high in pairwise(self.settings_w)):
            raise ValueError("settings_w must rise from one to the next")
        return self

    def levels(self) -> tuple[tuple[str, float], ...]:
        """Return name and setting in W of each point, the lowest first."""
        return tuple((f"{setting_w:g} W", setting_w) for setting_w in self.settings_w)

    def point_names(self) -> tuple[str, ...]:
        """Return the names of the points, one a setting."""
        return tuple(name for name, _ in self.levels())

    def stated_targets(self) -> Mapping[str, Target]:
        """Return the limit at the lowest setting, where there is one."""
        lowest, limit = self.point_names()[0], self.lowest_limit
        return {} if limit is None else {lowest: limit}

    def stated_conditions(self) -> Mapping[str, StatedCondition]:
        """Return mode, setting and load of each point."""
        return {
            name: StatedCondition(self.mode, setting_w, self.load_ohm)
            for name, setting_w in self.levels()
        }

    @property
    def lowest_limit(self) -> Target | None:
        """The limit of the power at the lowest setting; None where there is none."""
        limit_w = self.lowest_at_most_w
        return None if limit_w is None else at_most("power_w", limit_w)

    @property
    def requirement(self) -> str:
        """What each setting is compared with, as a clause."""
        allowed = f"by more than {self.allowance_w:g} W " if self.allowance_w else ""
        return f"power not {allowed}below that at any lower setting"

    def requirements(self, bench: Abilities, timing: Timing) -> Iterator[Complaint]:
        """Complain where mode, highest setting, time, load or range is out of the bench's."""
        highest_w = self.settings_w[-1]
        yield from setting_within_mode(self.mode, highest_w, bench, key="settings_w")
        yield from time_within_limits(timing.max_on_s, bench)
        yield from load_available(self.load_ohm, bench, key="load_ohm")
        yield from current_within_range(self.mode, highest_w, self.load_ohm, bench)

    async def run(self, work: StepRun) -> AsyncIterator[Event]:
        """Measure each setting that has no result yet, from the lowest up; yield the events.

        A setting without output is "not measured": an output that never comes is monotonic, too.
        """
        session = work.session
        have = {result.point: result.measured for result in work.earlier}
        below: list[Level] = []
        await session.input.join("OUTPUT")
        for name, setting_w in self.levels():
            measured = have.get(name)
            if name not in have:
                activation = _activation(work, self, setting_w)
                await session.bench.generator.select(*activation.chosen)
                async for event in activation.events():
                    yield event
                measured = _measured_power(work, self, activation)
                result = _result(work, self, name, activation, measured, below)
                yield session.point_done(result, "OUTPUT", *activation.chosen)
            if measured is not None:
                below.append((setting_w, measured))


def _activation(
    work: StepRun, step: MonotonicityStep, setting_w: float
) -> UndoubtedMeasurement[ActivationReadings]:
    """Return the measurement of one setting, which is repeated where it is in doubt."""
    session, timing = work.session, work.timing
    mode = session.bench.generator.data.mode(step.mode)
    asked_ma = expected_ma(mode, setting_w, step.load_ohm)
    least_ma = least_output_ma(session, asked_ma)

    async def measure() -> ActivationReadings:
        session.target_band = None
        return await measure_settled_output(
            session,
            load_ohm=step.load_ohm,
            power_w=setting_w,
            timing=timing,
            tolerance=_smallest_spacing(step),
        )

    def doubt(seen: ActivationReadings) -> Doubt | None:
        return doubt_in(seen.samples, least_ma, seen.excess)

    return UndoubtedMeasurement(
        session,
        OutputSetting(step.mode, setting_w),
        step.load_ohm,
        timing.max_on_s,
        measure,
        doubt,
        lambda seen: seen.excess,
    )


def _smallest_spacing(step: MonotonicityStep) -> float:
    """Return the relative spacing of the two nearest settings, at most `_CLOSE_SETTINGS`.

    The warmth left over from the setting before must not hide a difference of that size.
    """
    apart = (high / low - 1 for low, high in pairwise(step.settings_w))
    return min(_CLOSE_SETTINGS, *apart)


def _measured_power(
    work: StepRun, step: MonotonicityStep, done: UndoubtedMeasurement[ActivationReadings]
) -> Measured | None:
    """Return the power; None without a value, and where a verdict is recorded instead of it."""
    settled = done.latest.settled
    if done.verdict_instead is not None or settled is None or isinf(settled.uncertainty):
        return None
    accuracy = accuracy_at(work.session, step.mode, step.load_ohm)
    return measured_value(settled, "power_w", step.load_ohm, work.timing, accuracy)


def _result(
    work: StepRun,
    step: MonotonicityStep,
    name: str,
    done: UndoubtedMeasurement[ActivationReadings],
    measured: Measured | None,
    below: Sequence[Level],
) -> Result:
    readings, setting_w = done.latest, done.chosen.setting_w
    target = step.lowest_limit if setting_w == step.settings_w[0] else None
    no_value: VerdictAndReason = "not measured", "no reading at the age asked for"
    verdict, compared = done.verdict_instead or no_value, ""
    if measured is not None:
        compared = compared_levels(measured, below)
        verdict = monotonicity_verdict(step, measured, below)
        if target is not None:
            verdict = judge(measured, target, step.rule)
        if readings.settled is not None and not readings.settled.settled:
            verdict = "undecided", readings.settled.reason
    uncovered = _beyond_certificate(work, step, readings) if measured is not None else ""
    return Result(
        stage=work.stage,
        step=step.name,
        point=name,
        kind=step.kind,
        verdict=verdict[0],
        reason=done.with_notes("; ".join(filter(None, (verdict[1], uncovered)))),
        load_ohm=step.load_ohm,
        traceability="not covered" if uncovered else None,
        target=target,
        requirement=step.requirement,
        held_against_it=compared,
        measured=measured,
        conformity=conformity(measured, target, step.rule),
        on_s=readings.on_s,
        samples=readings.samples,
    )


def _beyond_certificate(work: StepRun, step: MonotonicityStep, readings: ActivationReadings) -> str:
    """Return why the analyzer's certificate says nothing of the current; empty where it does."""
    accuracy = accuracy_at(work.session, step.mode, step.load_ohm)
    return "" if readings.settled is None else beyond_certificate(accuracy, readings.settled.value)


def compared_levels(measured: Measured, below: Sequence[Level]) -> str:
    """Return how far this setting lies above the lower one that is nearest to it in power."""
    if not below:
        return "no lower setting was measured"
    least, setting_w = min(
        ((difference(measured, level), lower_w) for lower_w, level in below),
        key=lambda one: one[0].value,
    )
    sign, apart_w = "above" if least.value >= 0 else "below", abs(least.value)
    return f"{apart_w:.1f} ± {least.expanded():.1f} W {sign} that at setting {setting_w:g} W"


def monotonicity_verdict(
    step: MonotonicityStep, measured: Measured, below: Sequence[Level]
) -> tuple[Verdict, str]:
    """Return whether this setting gives less than a lower one by more than can be told apart.

    It is compared with every lower setting, so that a slow decline over many of them shows. Errors
    that meter and load make alike at both settings hardly count.
    """
    drops = [(difference(level, measured), lower_w) for lower_w, level in below]
    certain = [
        (drop.value, lower_w)
        for drop, lower_w in drops
        if drop.value - drop.expanded() > step.allowance_w
    ]
    if certain:
        drop_w, lower_w = max(certain)
        return "fail", f"{drop_w:.1f} W less than at setting {lower_w:g} W"
    if any(drop.value + drop.expanded() > step.allowance_w for drop, _ in drops):
        return "undecided", "no more than at a lower setting, as far as their difference is known"
    return "pass", ""
