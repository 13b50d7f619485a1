"""One adjustment point: the policy's actions carried out, events handed out while RF is off."""

from __future__ import annotations

from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from functools import partial

from ohmwright.adjustment.actions import Activate, Finish, Move, Press
from ohmwright.adjustment.decision import NO_EFFECT
from ohmwright.adjustment.parameters import Confirming, Parameters, Releasing
from ohmwright.adjustment.policy import AdjustPolicy
from ohmwright.estimation.settled_value import Settled
from ohmwright.estimation.thermal_droop import ResidualWarmth
from ohmwright.model.event import Event, PointLearned, TrimsStored
from ohmwright.model.result import Verdict
from ohmwright.model.step import Point, Timing

from .adjustment_activation import AdjustmentActivation, run_adjustment_activation
from .doubt import AsTold, Doubt, DoubtResolver
from .point_measurement import Observation, observed
from .point_spec import point_spec
from .prior_of_point import PriorOfPoint
from .requirements import full_power_w
from .service_state import ServiceState
from .session import Session
from .steps.base import Step, StepRun
from .stop_rules import aim_of
from .trim_actuator import TrimActuator

_PARAMETERS = Parameters(
    releasing=Releasing(inner_tolerances=0.35), confirming=Confirming(well_landed_tolerances=0.4)
)
"""A trim that stands well has longer to creep before it is out again."""
_TO_LOOK_ONLY = 1.0
"""Relative tolerance of an activation that decides nothing: its warmth need not have gone."""


async def adjust_point(step: Step, point: Point, work: StepRun) -> AsyncIterator[Event]:
    """Adjust `point` of `step`; the trim goes back to its start when it cannot be brought in.

    The trim is moved while RF is on where the unit allows it; its events wait in the session's
    pending events.
    """
    adjustment = await _begun(step, point, work)
    session = work.session
    while True:
        action = adjustment.policy.next_action()
        if isinstance(action, Finish):
            if not adjustment.may_lack_presses(action):
                break
            told = await adjustment.resolver.resolve("no effect", point.name)
            if told is not None:
                async for event in adjustment.left_unsaved(told):
                    yield event
                return
            await session.bench.generator.enter_service(point.name)
            adjustment.begin_anew()
        elif isinstance(action, Move | Press):
            await adjustment.actuator.carry_out(action)
        elif isinstance(action, Activate):
            warmth = await adjustment.rest()
            limit_s = adjustment.policy.spec.timeout_s
            yield session.activation_opened(load_ohm=point.load_ohm, limit_s=limit_s)
            await adjustment.activate(warmth)
            yield session.activation_closed()
            told = await adjustment.doubt_resolved()
            if told is not None:
                async for event in adjustment.given_up(told):
                    yield event
                return
    async for event in adjustment.finished(action):
        yield event


async def _begun(step: Step, point: Point, work: StepRun) -> _Adjustment:
    """Service mode at the point, and a policy that has seen nothing yet."""
    session, timing = work.session, work.timing
    generator, known = session.bench.generator, work.priors.get(step.name, PriorOfPoint())
    await session.input.join("OUTPUT")
    session.service = ServiceState(point.name, by_hand=not generator.unattended)
    start = await generator.enter_service(point.name)
    policy = _policy(session, point, timing, start, known)
    session.aim = aim_of(policy.spec.question)
    actuator = TrimActuator(session, policy, point.name, start)
    resolver = DoubtResolver(
        session, f"service mode, point {point.name}", partial(generator.enter_service, point.name)
    )
    return _Adjustment(session, step, point, timing, policy, actuator, start, known, resolver)


def _policy(
    session: Session, point: Point, timing: Timing, trim: int, known: PriorOfPoint
) -> AdjustPolicy:
    """A policy that has seen nothing yet of a point whose trim stands at `trim`."""
    return AdjustPolicy(point_spec(session, point, timing, trim, known), known.prior, _PARAMETERS)


@dataclass
class _Adjustment:
    """One adjustment under way."""

    session: Session
    step: Step
    point: Point
    timing: Timing
    policy: AdjustPolicy
    actuator: TrimActuator
    start: int
    """Where the trim stood before."""
    known: PriorOfPoint
    resolver: DoubtResolver
    activations: list[AdjustmentActivation] = field(default_factory=list)

    async def rest(self) -> ResidualWarmth:
        """Rest as what comes next needs it, and let the policy know how long that was."""
        clock, question = self.session.bench.clock, self.policy.spec.question
        before_s = clock.now_s()
        relative = question.tolerance / question.target
        warmth = await self.session.rest(
            self.timing,
            power_w=(question.target / 1000) ** 2 * self.point.load_ohm,
            tolerance=relative if self.policy.to_confirm else _TO_LOOK_ONLY,
        )
        self.policy.rested(clock.now_s() - before_s)
        return warmth

    async def activate(self, warmth: ResidualWarmth) -> None:
        """One activation, in which the policy's moves are carried out."""
        self.activations.append(
            await run_adjustment_activation(
                self.session,
                self.policy,
                self.actuator,
                self.point,
                power_w=full_power_w(self.session.bench.generator.data, self.point.name),
                limit_s=self.policy.spec.timeout_s,
                left=warmth,
            )
        )

    async def doubt_resolved(self) -> AsTold | None:
        """What is to be recorded where there was no output, or far too much.

        None where all is well, and where the point is to be begun anew, which it then is.
        """
        seen = self.activations[-1]
        doubt: Doubt | None = "too much" if seen.excess else "no output" if seen.nothing else None
        if doubt is None:
            return None
        told = await self.resolver.resolve(doubt, seen.excess)
        if told is None:
            self.begin_anew()
        return told

    def begin_anew(self) -> None:
        """From where the trim stands, with a policy that has seen nothing."""
        trim = self.actuator.trim
        self.policy = _policy(self.session, self.point, self.timing, trim, self.known)
        self.actuator.follow(self.policy)

    def may_lack_presses(self, end: Finish) -> bool:
        """Whether a trim without effect may be a key that was never pressed."""
        by_hand = not self.session.bench.generator.unattended
        return by_hand and end.reason == NO_EFFECT

    async def left_unsaved(self, told: AsTold) -> AsyncIterator[Event]:
        """Service mode left without saving, for what was pressed there is not known; no value."""
        await self.session.bench.generator.leave_unsaved()
        self.session.service = None
        yield self._done(self._without_value("not measured", "").as_told(told))

    async def given_up(self, told: AsTold) -> AsyncIterator[Event]:
        """The trim put back to its start, and a result without a value."""
        await self.actuator.put_back(self.start)
        yield self._done(self._without_value("not measured", "").as_told(told))

    async def finished(self, end: Finish) -> AsyncIterator[Event]:
        """What was learned, the trims kept where the point is good, and the result."""
        session, seen = self.session, self._observed(end)
        taught = self.policy.learned()
        if taught is not None:
            yield PointLearned(
                **session.stamp(),
                point=self.point.name,
                gain_per_count=taught.gain,
                lag_s=taught.lag_s,
                dead_s=taught.dead_time_s,
                hunting=taught.hunting,
            )
        if seen.verdict == "pass":
            await session.bench.generator.store_trims()
            if session.service is not None:
                session.service.stored()
            yield TrimsStored(**session.stamp(), told_by=session.told_by)
        yield self._done(seen, trim_told_by=session.told_by)

    def _observed(self, end: Finish) -> Observation:
        """The end as an observation: only a confirmation has a value."""
        if end.value is None or end.uncertainty is None or end.dof is None:
            verdict: Verdict = "undecided" if end.ended == "undecided" else "fail"
            return self._without_value(verdict, end.reason)
        settled = Settled(end.value, end.uncertainty, end.dof, 0.0, settled=True)
        seen = self._without_value("undecided", "")
        return observed(
            self.session.accuracy, settled, self.point, self.timing, seen.on_s, seen.samples
        )

    def _without_value(self, verdict: Verdict, reason: str) -> Observation:
        """An observation without a value, with the time on and the last activation's readings."""
        on_s = sum(each.on_s for each in self.activations)
        samples = self.activations[-1].samples if self.activations else ()
        return Observation(verdict, reason, None, None, on_s, samples)

    def _done(self, seen: Observation, trim_told_by: str | None = None) -> Event:
        """The result; its mode where the generator's data know it, its setting service mode's."""
        data = self.session.bench.generator.data.point(self.point.name)
        result = seen.result(
            "adjust", self.step, self.point, start_trim=self.start, final_trim=self.actuator.trim
        ).model_copy(update={"trim_told_by": trim_told_by})
        return self.session.point_done(result, "OUTPUT", None if data is None else data.mode)
