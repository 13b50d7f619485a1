"""The contact quality monitor: where its alarm comes on from below, and goes out from above."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator
from math import sqrt
from typing import ClassVar, Literal, NamedTuple

from pydantic import model_validator

from ohmwright.engine.doubt import AsTold, cause_as_told
from ohmwright.engine.judge import conformity
from ohmwright.engine.requirements import Abilities, Complaint
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.requests import LookForCause
from ohmwright.instruments.required_messages import ALARM, CONTACT
from ohmwright.model.event import Event
from ohmwright.model.hardware import NotNegative, Positive
from ohmwright.model.result import AMPLE_DOF, BudgetEntry, Measured, Result, Verdict
from ohmwright.model.step import Stage, Timing
from ohmwright.model.tolerance import Target
from ohmwright.uncertainty.distributions import coverage_factor
from ohmwright.wire.command_set import Verb

from .base import InstrumentStep, StepRun


class ContactQualityStep(InstrumentStep):
    """The resistance between the neutral electrode's halves at which the monitor alarms.

    Searched for from below; where the alarm goes out again is searched for from above, since
    monitors have hysteresis.
    """

    analyzer_messages: ClassVar[tuple[Verb, ...]] = CONTACT
    generator_messages: ClassVar[tuple[Verb, ...]] = ALARM
    kind: Literal["contact_quality"]
    from_ohm: Positive
    to_ohm: Positive
    step_ohm: Positive
    """How closely each threshold is searched for."""
    wait_s: Positive = 1.0
    """How long the monitor gets to answer each resistance."""
    alarm_above_ohm: Positive
    """The alarm must not sound below this resistance."""
    alarm_below_ohm: Positive
    """The alarm must sound at and above this resistance."""
    hysteresis_at_most_ohm: NotNegative | None = None
    """The most that the two thresholds may lie apart; absent where nobody says."""

    @model_validator(mode="after")
    def _in_order(self) -> ContactQualityStep:
        if not self.from_ohm <= self.alarm_above_ohm < self.alarm_below_ohm <= self.to_ohm:
            raise ValueError("needs from_ohm <= alarm_above_ohm < alarm_below_ohm <= to_ohm")
        return self

    def point_names(self) -> tuple[str, ...]:
        """Where the alarm comes on, and where it goes out."""
        return ("alarm", "clear")

    def requirements(self, bench: Abilities, timing: Timing) -> Iterator[Complaint]:  # noqa: ARG002
        """An analyzer with a contact simulator of that span, and a unit with a monitor."""
        span = bench.analyzer.contact_quality_ohm
        if span is None:
            yield "kind", "the analyzer cannot simulate a neutral electrode's contact"
        else:
            for key, value in (("from_ohm", self.from_ohm), ("to_ohm", self.to_ohm)):
                if not span[0] <= value <= span[1]:
                    yield key, f"{value:g} ohm lies outside {span[0]:g} to {span[1]:g} ohm"
        if not bench.generator.contact_quality_monitor:
            yield "kind", f"{bench.generator.model} has no contact quality monitor"

    async def run(self, work: StepRun) -> AsyncIterator[Event]:
        """Search both thresholds; hold the first against its limits, the other against it."""
        session, bench = work.session, work.session.bench
        await session.input.join("CQUALITY")
        found = await _search(bench, self)
        while found.problem and not found.changed and not await _alarm_changes(bench, self):
            told = await cause_as_told(bench.operator, _cause(found.problem), _dead(found.problem))
            if told is not None:
                found = Found(problem=found.problem, told=told)
                break
            found = await _search(bench, self)
        # the monitor keeps RF off until it has seen a good contact again
        await session.input.join("OUTPUT")
        await bench.clock.sleep(self.wait_s)
        for name, result in (
            ("alarm", _alarm_result(work.stage, self, found)),
            ("clear", _clear_result(work.stage, self, found)),
        ):
            if name in work.missing:
                yield session.point_done(result, "CQUALITY")


class Threshold(NamedTuple):
    """Between which resistances the alarm changes, approached from one side."""

    below_ohm: float
    above_ohm: float

    @property
    def middle_ohm(self) -> float:
        """The best single value."""
        return (self.below_ohm + self.above_ohm) / 2


class Found(NamedTuple):
    """Both thresholds; `problem` says why there are none.

    `changed` says whether the alarm was seen to change at all, which shows that it is the
    unit's; `told` is what is recorded instead where it never did.
    """

    alarm: Threshold | None = None
    clear: Threshold | None = None
    problem: str = ""
    changed: bool = False
    told: AsTold | None = None


async def _search(bench: Bench, step: ContactQualityStep) -> Found:
    if await _alarms(bench, step, step.from_ohm):
        return Found(problem=f"alarm at {step.from_ohm:g} ohm already")
    if not await _alarms(bench, step, step.to_ohm):
        return Found(problem=f"no alarm up to {step.to_ohm:g} ohm")
    if await _alarms(bench, step, step.from_ohm):
        problem = f"the alarm does not go out at {step.from_ohm:g} ohm"
        return Found(problem=problem, changed=True)
    return Found(
        alarm=await _threshold(bench, step, coming_from_ohm=step.from_ohm),
        clear=await _threshold(bench, step, coming_from_ohm=step.to_ohm),
    )


async def _alarm_changes(bench: Bench, step: ContactQualityStep) -> bool:
    """Whether anything that the analyzer can show moves the alarm at all.

    If not, it may not be joined to the unit, and nothing is known of the unit's monitor.
    """
    low_ohm, high_ohm = bench.analyzer.data.contact_quality_ohm or (step.from_ohm, step.to_ohm)
    seen = {await _alarms(bench, step, ohm) for ohm in (low_ohm, high_ohm)}
    return len(seen) > 1


def _cause(problem: str) -> LookForCause:
    """What a person is asked of a monitor whose alarm never changes."""
    look = "look at the neutral electrode's lead, its path to the analyzer, and standby"
    return LookForCause(f"{problem}, and no resistance changes it", look, rf_follows=False)


def _dead(problem: str) -> AsTold:
    """What is recorded where all of that is in order."""
    return "fail", f"{problem}; lead, path and standby are in order"


async def _threshold(
    bench: Bench, step: ContactQualityStep, *, coming_from_ohm: float
) -> Threshold:
    """Halve the span until it is no wider than a step; every trial comes from the same side."""
    below_ohm, above_ohm = step.from_ohm, step.to_ohm
    while above_ohm - below_ohm > step.step_ohm:
        middle_ohm = (below_ohm + above_ohm) / 2
        await _alarms(bench, step, coming_from_ohm)
        if await _alarms(bench, step, middle_ohm):
            above_ohm = middle_ohm
        else:
            below_ohm = middle_ohm
    return Threshold(below_ohm, above_ohm)


async def _alarms(bench: Bench, step: ContactQualityStep, resistance_ohm: float) -> bool:
    await bench.analyzer.set_contact_resistance(resistance_ohm)
    await bench.clock.sleep(step.wait_s)
    return await bench.generator.contact_alarm()


def _alarm_result(stage: Stage, step: ContactQualityStep, found: Found) -> Result:
    target = Target(
        quantity="resistance_ohm",
        value=(step.alarm_above_ohm + step.alarm_below_ohm) / 2,
        lower=step.alarm_above_ohm,
        upper=step.alarm_below_ohm,
    )
    verdict: tuple[Verdict, str] = found.told or ("fail", found.problem)
    if found.alarm is not None:
        verdict = _inside(found.alarm, target)
    return _result(stage, step, "alarm", found.alarm, verdict, target)


def _inside(threshold: Threshold, target: Target) -> tuple[Verdict, str]:
    if target.lower <= threshold.below_ohm and threshold.above_ohm <= target.upper:
        return "pass", ""
    if threshold.above_ohm <= target.lower:
        return "fail", f"alarm at {threshold.above_ohm:g} ohm already"
    if threshold.below_ohm >= target.upper:
        return "fail", f"no alarm at {threshold.below_ohm:g} ohm yet"
    return "undecided", "a limit lies within the step of the search"


def _clear_result(stage: Stage, step: ContactQualityStep, found: Found) -> Result:
    if found.alarm is None or found.clear is None:
        why = found.problem if found.told is None else found.told[1]
        verdict: tuple[Verdict, str] = "not measured", why
        return _result(stage, step, "clear", None, verdict, None)
    apart_ohm = found.alarm.middle_ohm - found.clear.middle_ohm
    most_ohm = step.hysteresis_at_most_ohm
    verdict = "pass", ""
    if apart_ohm < -step.step_ohm:
        verdict = "fail", f"the alarm goes out {-apart_ohm:g} ohm above where it comes on"
    elif most_ohm is not None and apart_ohm > most_ohm:
        verdict = "fail", f"hysteresis of {apart_ohm:.1f} ohm is more than {most_ohm:g} ohm"
    return _result(stage, step, "clear", found.clear, verdict, None)


def _result(
    stage: Stage,
    step: ContactQualityStep,
    point: str,
    threshold: Threshold | None,
    verdict: tuple[Verdict, str],
    target: Target | None,
) -> Result:
    measured = None if threshold is None else _measured(threshold, step.wait_s)
    return Result(
        stage=stage,
        step=step.name,
        point=point,
        kind=step.kind,
        verdict=verdict[0],
        reason=verdict[1],
        traceability="none",  # a certificate says nothing of these resistances
        target=target,
        measured=measured,
        conformity=conformity(measured, target),
    )


def _measured(threshold: Threshold, wait_s: float) -> Measured:
    """Anywhere between the last two resistances, all equally likely."""
    u_ohm = (threshold.above_ohm - threshold.below_ohm) / sqrt(12.0)
    factor = coverage_factor()
    return Measured(
        quantity="resistance_ohm",
        value=threshold.middle_ohm,
        uncertainty=u_ohm,
        dof=AMPLE_DOF,
        age_s=wait_s,
        expanded=factor * u_ohm,
        coverage_factor=factor,
        budget=(BudgetEntry(source="search step", evaluation="B", standard_uncertainty=u_ohm),),
    )
