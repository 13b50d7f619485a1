"""The step kind `contact_quality`: the resistances at which a monitor's alarm changes."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator, Mapping
from typing import ClassVar, Literal

from pydantic import model_validator

from ohmwright.engine.contact_quality_search import (
    ContactQualitySearch,
    SearchResult,
    Threshold,
)
from ohmwright.engine.doubt import VerdictAndReason, verdict_by_cause
from ohmwright.engine.judge import conformity
from ohmwright.engine.measured_value import measured_of_budget
from ohmwright.engine.requirements import Abilities, Complaint
from ohmwright.instruments.doubt_requests import LookForCause
from ohmwright.instruments.required_messages import ALARM, CONTACT
from ohmwright.model.analyzer_certificate import AnalyzerCertificate, LoadAccuracy
from ohmwright.model.event import Event
from ohmwright.model.hardware import NotNegative, Positive
from ohmwright.model.result import Measured, Result
from ohmwright.model.step import Timing
from ohmwright.model.tolerance import Target
from ohmwright.uncertainty.budget import combine
from ohmwright.uncertainty.inputs import accuracy_input, rectangular
from ohmwright.wire.command_set import Verb

from .base import InstrumentStep, StepRun

_CONTACT = "contact resistance"
"""The effect of the analyzer's contact resistances, as budgets name it, or leave it out."""


class ContactQualityStep(InstrumentStep):
    """The resistance between the neutral electrode's halves at which the monitor alarms.

    It is searched from below, and where the alarm goes out again from above, since monitors have
    hysteresis.
    """

    analyzer_messages: ClassVar[tuple[Verb, ...]] = CONTACT
    generator_messages: ClassVar[tuple[Verb, ...]] = ALARM
    kind: Literal["contact_quality"]
    from_ohm: Positive
    to_ohm: Positive
    step_ohm: Positive
    """Width to which the search narrows each threshold."""
    wait_s: Positive = 1.0
    """How long the monitor gets to answer each resistance."""
    alarm_above_ohm: Positive
    """The alarm must not sound below this resistance."""
    alarm_below_ohm: Positive
    """The alarm must sound at and above this resistance."""
    hysteresis_at_most_ohm: NotNegative | None = None
    """Most that the two thresholds may lie apart; absent where the unit's data give no limit."""

    @model_validator(mode="after")
    def _in_order(self) -> ContactQualityStep:
        if not self.from_ohm <= self.alarm_above_ohm < self.alarm_below_ohm <= self.to_ohm:
            raise ValueError("needs from_ohm <= alarm_above_ohm < alarm_below_ohm <= to_ohm")
        return self

    @property
    def clear_requirement(self) -> str:
        """What the resistance at which the alarm goes out is compared with, as a clause."""
        most_ohm = self.hysteresis_at_most_ohm
        bound = "" if most_ohm is None else f", nor more than {most_ohm:g} ohm below"
        return (
            f"goes out not more than {self.step_ohm:g} ohm, the widest step of the search, above "
            f"where the alarm comes on{bound}"
        )

    def clear_verdict(self, apart_ohm: float) -> VerdictAndReason:
        """Return the verdict where the alarm goes out so far below where it comes on."""
        most_ohm = self.hysteresis_at_most_ohm
        if apart_ohm < -self.step_ohm:
            return "fail", f"the alarm goes out {-apart_ohm:g} ohm above where it comes on"
        if most_ohm is not None and apart_ohm > most_ohm:
            return "fail", f"hysteresis of {apart_ohm:.1f} ohm is more than {most_ohm:g} ohm"
        return "pass", ""

    def point_names(self) -> tuple[str, ...]:
        """Return the names of both thresholds: where the alarm comes on, and where it goes out."""
        return ("alarm", "clear")

    def stated_targets(self) -> Mapping[str, Target]:
        """Return the limits of the resistance at which the alarm comes on."""
        return {"alarm": self.alarm_target}

    @property
    def alarm_target(self) -> Target:
        """The limits of the resistance at which the alarm comes on."""
        low, high = self.alarm_above_ohm, self.alarm_below_ohm
        return Target(quantity="resistance_ohm", value=(low + high) / 2, lower=low, upper=high)

    @classmethod
    def is_covered_by(cls, certificate: AnalyzerCertificate) -> bool:
        """Return whether an analyzer certificate may say something of what it measures."""
        return certificate.contact is not None

    def requirements(self, bench: Abilities, timing: Timing) -> Iterator[Complaint]:  # noqa: ARG002
        """Complain where the analyzer cannot show those resistances, or the unit has no monitor."""
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
        """Search both thresholds and yield their results.

        Where the alarm comes on is compared with its limits; where it goes out, with where it comes
        on, by the hysteresis allowed. Where an alarm never changes, over all that the analyzer can
        show, the lead may be off: a person looks, and it is searched again or has their verdict.
        """
        session, bench = work.session, work.session.bench
        await session.input.join("CQUALITY")
        search = ContactQualitySearch(bench, self.from_ohm, self.to_ohm, self.step_ohm, self.wait_s)
        found = await search.thresholds()
        while found.problem and not found.alarm_changed and not await search.alarm_changes():
            verdict = await verdict_by_cause(
                bench.operator,
                _question_for_cause(found.problem),
                _verdict_where_lead_is_good(found.problem),
            )
            if verdict is not None:
                found = SearchResult(problem=found.problem, verdict_instead=verdict)
                break
            found = await search.thresholds()
        # the monitor keeps RF off until it has seen a good contact again
        await session.input.join("OUTPUT")
        await bench.clock.sleep(self.wait_s)
        for name, result in (
            ("alarm", _alarm_result(work, self, found)),
            ("clear", _clear_result(work, self, found)),
        ):
            if name in work.missing:
                yield session.point_done(result, "CQUALITY")


def apart_words(apart_ohm: float) -> str:
    """Return where an alarm goes out that does so `apart_ohm` below where it comes on."""
    where = "below" if apart_ohm >= 0 else "above"
    return f"goes out {abs(apart_ohm):.1f} ohm {where} where the alarm comes on"


def _question_for_cause(problem: str) -> LookForCause:
    """Return the question to a person about a monitor whose alarm never changes."""
    look = "look at the neutral electrode's lead, its path to the analyzer, and standby"
    return LookForCause(f"{problem}, and no resistance changes it", look, rf_follows=False)


def _verdict_where_lead_is_good(problem: str) -> VerdictAndReason:
    """Return the verdict where a person found lead, path and standby in order: it is the unit's."""
    return "fail", f"{problem}; lead, path and standby are in order"


def _alarm_result(work: StepRun, step: ContactQualityStep, found: SearchResult) -> Result:
    target = step.alarm_target
    verdict: VerdictAndReason = found.verdict_instead or ("fail", found.problem)
    if found.alarm is not None:
        verdict = _alarm_verdict(found.alarm, target)
    return _result(work, step, "alarm", found.alarm, verdict, target)


def _alarm_verdict(threshold: Threshold, target: Target) -> VerdictAndReason:
    if target.lower <= threshold.below_ohm and threshold.above_ohm <= target.upper:
        return "pass", ""
    if threshold.above_ohm <= target.lower:
        return "fail", f"alarm at {threshold.above_ohm:g} ohm already"
    if threshold.below_ohm >= target.upper:
        return "fail", f"no alarm at {threshold.below_ohm:g} ohm yet"
    return "undecided", "a limit lies within the step of the search"


def _clear_result(work: StepRun, step: ContactQualityStep, found: SearchResult) -> Result:
    if found.alarm is None or found.clear is None:
        why = found.problem if found.verdict_instead is None else found.verdict_instead[1]
        verdict: VerdictAndReason = "not measured", why
        return _result(work, step, "clear", None, verdict, None)
    apart_ohm = found.alarm.middle_ohm - found.clear.middle_ohm
    found_to_ohm = max(one.above_ohm - one.below_ohm for one in (found.alarm, found.clear))
    compared = f"{apart_words(apart_ohm)}, each found to {found_to_ohm:.1f} ohm"
    made = _result(work, step, "clear", found.clear, step.clear_verdict(apart_ohm), None)
    return made.model_copy(
        update={"requirement": step.clear_requirement, "held_against_it": compared}
    )


def _result(
    work: StepRun,
    step: ContactQualityStep,
    point: str,
    threshold: Threshold | None,
    verdict: VerdictAndReason,
    target: Target | None,
) -> Result:
    certificate = work.session.bench.certificate
    stated = None if certificate is None else certificate.contact
    measured = None if threshold is None else _measured(threshold, step.wait_s, stated)
    return Result(
        stage=work.stage,
        step=step.name,
        point=point,
        kind=step.kind,
        verdict=verdict[0],
        reason=verdict[1],
        traceability="not covered" if stated is None else None,
        target=target,
        measured=measured,
        conformity=conformity(measured, target),
    )


def _measured(threshold: Threshold, wait_s: float, stated: LoadAccuracy | None) -> Measured:
    """Return the threshold as a value: anywhere between its two resistances is equally likely.

    `stated`: accuracy of the contact resistances by the analyzer's certificate; None where it says
    nothing of them.
    """
    value_ohm = threshold.middle_ohm
    inputs = [
        rectangular("search step", 0.0, (threshold.above_ohm - threshold.below_ohm) / 2),
    ]
    if stated is not None:
        limit_ohm = value_ohm * stated.percent / 100
        inputs.append(accuracy_input(_CONTACT, limit_ohm, stated.coverage_factor))
    budget = combine(value_ohm, inputs, [1.0] * len(inputs))
    left_out = () if stated is not None else (_CONTACT,)
    return measured_of_budget(budget, "resistance_ohm", wait_s, left_out)
