"""The control of the output: more setting, never less output."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import hypot, isinf
from typing import Literal

from pydantic import Field, model_validator

from ohmwright.engine.doubt import AsTold, Chosen, Doubt, doubt_in, least_output_ma
from ohmwright.engine.judge import conformity, judge, scatter
from ohmwright.engine.measured_value import measured_value
from ohmwright.engine.requirements import (
    Abilities,
    Complaint,
    expected_ma,
    full_current_within_range,
    load_available,
    setting_within_mode,
    time_within_limits,
)
from ohmwright.engine.rested_activation import ActivationReadings, rest_and_measure
from ohmwright.engine.reversals import reversals
from ohmwright.engine.stop_rules import UntilSettled
from ohmwright.engine.undoubted import Undoubted
from ohmwright.model.event import Event
from ohmwright.model.hardware import MANY, NotNegative, Positive
from ohmwright.model.result import Measured, Result, Verdict
from ohmwright.model.step import Timing
from ohmwright.model.tolerance import Target, at_most

from .base import ModeStep, StepRun

_CLOSE = 0.05
"""Settings farther apart than this are told apart with ease, relative."""

Level = tuple[float, Measured]
"""A setting in W and the power measured there."""


class MonotonicityStep(ModeStep):
    """The output must not rise when the control is turned down.

    201.12.4.3.101 and .102, from memory, unverified: the latter says that the output can be
    brought to 5 % of rated power or 10 W, whichever is smaller.
    """

    kind: Literal["monotonicity"]
    load_ohm: Positive
    settings_w: tuple[Positive, ...] = Field(min_length=2, max_length=MANY)
    allowance_w: NotNegative = 0.0
    """A drop of the output from one setting to a higher one that is not counted."""
    lowest_at_most_w: Positive | None = None
    """What the output at the lowest setting may be."""

    @model_validator(mode="after")
    def _rises(self) -> MonotonicityStep:
        if any(low >= high for low, high in pairwise(self.settings_w)):
            raise ValueError("settings_w must rise from one to the next")
        return self

    def levels(self) -> tuple[tuple[str, float], ...]:
        """Name and setting of each point, the lowest first."""
        return tuple((f"{setting_w:g} W", setting_w) for setting_w in self.settings_w)

    def point_names(self) -> tuple[str, ...]:
        """One point a setting."""
        return tuple(name for name, _ in self.levels())

    @property
    def lowest(self) -> Target | None:
        """The limit of the output at the lowest setting."""
        limit_w = self.lowest_at_most_w
        return None if limit_w is None else at_most("power_w", limit_w)

    def requirements(self, bench: Abilities, timing: Timing) -> Iterator[Complaint]:
        """Mode, highest setting, time, load and range."""
        highest_w, mode = self.settings_w[-1], bench.generator.mode(self.mode)
        yield from setting_within_mode(self.mode, highest_w, bench, key="settings_w")
        yield from time_within_limits(timing.max_on_s, bench)
        yield from load_available(self.load_ohm, bench, key="load_ohm")
        yield from full_current_within_range(mode, highest_w, self.load_ohm, bench)

    async def run(self, work: StepRun) -> AsyncIterator[Event]:
        """Measure each setting that has no result yet, from the lowest up.

        A setting at which nothing flows is not measured: no output at all turns down nicely, too.
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
                seen = _seen(work, self, setting_w, activation)
                measured = seen.measured
                yield session.point_done(
                    _result(work, self, name, seen, below), "OUTPUT", *activation.chosen
                )
            if measured is not None:
                below.append((setting_w, measured))


@dataclass(frozen=True)
class _Seen:
    """What came of one setting; no value where something is told instead."""

    setting_w: float
    readings: ActivationReadings
    measured: Measured | None
    as_told: AsTold | None


def _activation(
    work: StepRun, step: MonotonicityStep, setting_w: float
) -> Undoubted[ActivationReadings]:
    """One setting: measured, and measured once more where it is in doubt."""
    session, timing, bench = work.session, work.timing, work.session.bench
    meter = bench.analyzer.data.meter
    asked_ma = expected_ma(bench.generator.data.mode(step.mode), setting_w, step.load_ohm)
    least_ma = least_output_ma(session, asked_ma)

    async def measure() -> ActivationReadings:
        session.aim = None
        return await rest_and_measure(
            session,
            load_ohm=step.load_ohm,
            power_w=setting_w,
            timing=timing,
            fetch=bench.analyzer.fetch_current,
            stop_rule=lambda warmth: UntilSettled(
                timing.age_s, meter.window_s, meter.resolution_ma, warmth
            ),
            tolerance=_closest(step),
        )

    def doubt(seen: ActivationReadings) -> Doubt | None:
        return doubt_in(seen.samples, least_ma, seen.excess)

    return Undoubted(
        session,
        Chosen(step.mode, setting_w),
        step.load_ohm,
        timing.max_on_s,
        measure,
        doubt,
        lambda seen: seen.excess,
    )


def _seen(
    work: StepRun, step: MonotonicityStep, setting_w: float, done: Undoubted[ActivationReadings]
) -> _Seen:
    measured = _power(work, step, done.seen) if done.as_told is None else None
    return _Seen(setting_w, done.seen, measured, done.as_told)


def _closest(step: MonotonicityStep) -> float:
    """How near two neighbouring settings are, relative: what the warmth left over must not hide."""
    apart = (high / low - 1 for low, high in pairwise(step.settings_w))
    return min(_CLOSE, *apart)


def _power(work: StepRun, step: MonotonicityStep, seen: ActivationReadings) -> Measured | None:
    settled = seen.settled
    if settled is None or isinf(settled.uncertainty):
        return None
    return measured_value(settled, "power_w", step.load_ohm, work.timing, work.session.accuracy)


def _result(
    work: StepRun, step: MonotonicityStep, name: str, seen: _Seen, below: Sequence[Level]
) -> Result:
    readings, measured, setting_w = seen.readings, seen.measured, seen.setting_w
    target = step.lowest if setting_w == step.settings_w[0] else None
    no_value: AsTold = "not measured", "no reading at the age asked for"
    verdict = seen.as_told or no_value
    if measured is not None:
        verdict = _against_lower(step, setting_w, measured, below)
        if target is not None:
            verdict = judge(measured, target, step.rule)
        if readings.settled is not None and not readings.settled.settled:
            verdict = "undecided", readings.settled.reason
    return Result(
        stage=work.stage,
        step=step.name,
        point=name,
        kind=step.kind,
        verdict=verdict[0],
        reason=verdict[1],
        load_ohm=step.load_ohm,
        target=target,
        measured=measured,
        conformity=conformity(measured, target, step.rule),
        on_s=readings.on_s,
        samples=readings.samples,
    )


def _against_lower(
    step: MonotonicityStep, setting_w: float, measured: Measured, below: Sequence[Level]
) -> tuple[Verdict, str]:
    """Whether this setting gives less than a lower one, beyond what the readings' scatter explains.

    Meter and load are the same at every setting, so their errors do not count.
    """
    settings = [*(setting for setting, _ in below), setting_w]
    outputs = [*(level.value for _, level in below), measured.value]
    reach_w = max((hypot(scatter(measured), scatter(level)) for _, level in below), default=0.0)
    surely = reversals(settings, outputs, step.allowance_w + reach_w)
    perhaps = reversals(settings, outputs, step.allowance_w - reach_w)
    mine = [one for one in surely if one.setting == setting_w]
    if mine:
        return "fail", f"{mine[0].drop:.1f} W less than at setting {mine[0].lower_setting:g} W"
    if any(one.setting == setting_w for one in perhaps):
        return "undecided", "no more than at a lower setting, as far as the scatter lets see"
    return "pass", ""
