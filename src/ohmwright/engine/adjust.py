"""Adjusts one point: carries out a policy's actions and yields events while RF is off."""

from __future__ import annotations

from collections.abc import AsyncIterator
from dataclasses import dataclass
from functools import partial

from ohmwright.adjustment.actions import Activate, Finish, Move, Press, TakeReading
from ohmwright.adjustment.decision import NO_EFFECT
from ohmwright.adjustment.policy import AdjustPolicy
from ohmwright.estimation.thermal_droop import ResidualWarmth
from ohmwright.model.errors import LoadNotConnected
from ohmwright.model.event import Event, PointLearned, TrimsStored
from ohmwright.model.step import Point, Timing

from .activation_events import activation_closed, activation_opened
from .adjustment_activation import run_adjustment_activation
from .adjustment_outcome import AdjustmentOutcome
from .asked_current import target_band
from .coach_words import cue_at_end
from .doubt import Doubt, DoubtResolver, VerdictAndReason
from .point_measurement import Observation
from .point_spec import point_spec
from .prior_of_point import PriorOfPoint
from .requirements import full_power_w
from .service_exit import leave_if_moved, leave_without_saving
from .service_state import ServiceState
from .session import Session
from .steps.base import Step, StepRun
from .trim_actuator import TrimActuator
from .undoubted import meter_words
from .watched_rest import begin_rest, rest

WAITS_FOR_RF = (
    "the trim acted only once RF was switched on anew, as where the unit's data say "
    "moves_while_on = false"
)
"""Note of a point whose trim was without effect while RF was on."""
MOVED_BOTH_WAYS = "moved while RF was on, and between activations"
"""Note of a trim that was without effect while RF was on, and of which nothing shows another."""
_UNCRITICAL_TOLERANCE = 1.0
"""Relative tolerance for the rest before an activation that decides nothing: warmth may remain."""


async def adjust_point(step: Step, point: Point, work: StepRun) -> AsyncIterator[Event]:
    """Adjust `point` of `step` and yield the events; its result is the last of them.

    Where the current cannot be brought to the target the trim is left where the policy says: at
    its start, or where the current was surely nearer. Events of moves made while RF is on wait in
    the session's pending events.
    """
    adjustment = await _start_adjustment(step, point, work)
    session = work.session
    while True:
        action = adjustment.policy.next_action()
        if adjustment.leaving_puts_back:
            async for event in adjustment.put_back_by_leaving():
                yield event
        elif isinstance(action, Finish):
            await adjustment.actuator.tell_unseen_presses()
            if adjustment.may_wait_for_rf(action):
                adjustment.move_with_rf_off()
                continue
            if not adjustment.presses_may_be_missing(action):
                break
            verdict = await adjustment.resolved("no effect", point.name)
            if verdict is not None:
                async for event in adjustment.leave_unsaved(verdict):
                    yield event
                return
            async for event in adjustment.enter_service_anew():
                yield event
        elif isinstance(action, Move | Press):
            adjustment.begin_rest()
            await adjustment.actuator.carry_out(action)
        elif isinstance(action, Activate):
            warmth = await adjustment.rest()
            if adjustment.actuator.coach is not None:
                adjustment.actuator.coach.rf_comes_on()
            limit_s = adjustment.policy.spec.timeout_s
            yield await activation_opened(session, load_ohm=point.load_ohm, limit_s=limit_s)
            try:
                await adjustment.activate(warmth)
            except LoadNotConnected:
                yield activation_closed(session)
                raise
            yield activation_closed(session)
            verdict = await adjustment.resolve_doubt()
            if verdict is not None:
                async for event in adjustment.end_without_value(verdict):
                    yield event
                return
        elif isinstance(action, TakeReading):  # it would be wanted for ever
            raise AssertionError("A reading is wanted, and RF is off.")
    async for event in adjustment.end_events(action):
        yield event


async def _start_adjustment(step: Step, point: Point, work: StepRun) -> _Adjustment:
    """Enter service mode at the point; return an adjustment whose policy has no readings yet."""
    session, timing = work.session, work.timing
    generator, prior = session.bench.generator, work.priors.get(step.name, PriorOfPoint())
    await session.input.join("OUTPUT")
    session.enters_service(ServiceState(point.name, by_hand=not generator.unattended))
    start = await generator.enter_service(point.name)
    policy = _policy(session, point, timing, start, prior)
    session.target_band = target_band(policy.spec.question)
    actuator = TrimActuator(session, policy, point.name, start)
    resolver = DoubtResolver(
        session, f"service mode, point {point.name}", partial(generator.enter_service, point.name)
    )
    found = AdjustmentOutcome(session, step, point, timing, actuator, start)
    return _Adjustment(session, point, timing, policy, actuator, found, prior, resolver)


def _policy(
    session: Session,
    point: Point,
    timing: Timing,
    trim: int,
    prior: PriorOfPoint,
) -> AdjustPolicy:
    """Return a policy without readings for a point whose trim stands at `trim` counts."""
    return AdjustPolicy(point_spec(session, point, timing, trim, prior), prior.prior)


@dataclass
class _Adjustment:
    """One adjustment under way: a point, its policy, its trim, and what was found so far."""

    session: Session
    point: Point
    timing: Timing
    policy: AdjustPolicy
    actuator: TrimActuator
    found: AdjustmentOutcome
    prior: PriorOfPoint
    resolver: DoubtResolver
    began_with_rf_on: bool = False
    """Whether the trim was first moved while RF was on, without effect."""

    @property
    def _power_w(self) -> float:
        """About the power that the next activation puts into the load."""
        return (self.policy.spec.question.target / 1000) ** 2 * self.point.load_ohm

    @property
    def _rest_tolerance(self) -> float:
        """Relative tolerance of what the next activation decides."""
        question = self.policy.spec.question
        relative = question.tolerance / question.target
        return relative if self.policy.to_confirm else _UNCRITICAL_TOLERANCE

    def begin_rest(self) -> None:
        """Count the rest that the next activation needs, while the trim is moved in it."""
        begin_rest(self.session, self.timing, power_w=self._power_w, tolerance=self._rest_tolerance)

    async def rest(self) -> ResidualWarmth:
        """Rest as long as the next activation needs; return the warmth left over.

        The policy is told how long the rest was. One activation follows another here, so that a
        unit whose droop nobody states is not taken as rested after the procedure's rest.
        """
        clock = self.session.bench.clock
        before_s = clock.now_s()
        warmth = await rest(
            self.session, self.timing, power_w=self._power_w, tolerance=self._rest_tolerance
        )
        self.policy.rested(clock.now_s() - before_s)
        stated = self.session.bench.generator.data.droop is not None
        return warmth if stated else self.session.warmth.typical_warmth(clock.now_s())

    async def activate(self, warmth: ResidualWarmth) -> None:
        """Activate once, carrying out the policy's actions; the activation is added to the list."""
        self.found.activations.append(
            await run_adjustment_activation(
                self.session,
                self.policy,
                self.actuator,
                self.point,
                power_w=full_power_w(self.session.bench.generator.data, self.point.name),
                limit_s=self.policy.spec.timeout_s,
                warmth=warmth,
            )
        )

    async def resolve_doubt(self) -> VerdictAndReason | None:
        """Return the verdict that ends the point after no output, or far too much; else None.

        Where the cause was removed, the adjustment is restarted.
        """
        last = self.found.activations[-1]
        doubt: Doubt | None = "too much" if last.excess else "no output" if last.no_output else None
        if doubt is None:
            return None
        seen = last.excess or meter_words(last.samples)
        verdict = await self.resolved(doubt, seen)
        if verdict is None:
            self.restart()
        return verdict

    async def resolved(self, doubt: Doubt, seen: str) -> VerdictAndReason | None:
        """Return None where a person has removed the cause of a doubt; else the verdict.

        What is begun anew has its whole RF time: the RF before said nothing of the point, as where
        the unit was in service mode at another one. No start follows once as much was spent so.
        """
        verdict = await self.resolver.resolve(doubt, seen)
        on_s = self.found.on_s
        if verdict is None and on_s >= self.policy.parameters.giving_up.most_rf_s:
            verdict = "not measured", f"{doubt} after {on_s:.0f} s of RF; the cause was not found"
        return verdict

    async def enter_service_anew(self) -> AsyncIterator[Event]:
        """Have service mode left without saving and entered again, and restart; yield the events.

        Presses that did not show may have moved another point, which the unit would save with this.
        """
        session, name = self.session, self.point.name
        yield await leave_without_saving(session, name)
        self.actuator.note_put_back(self.found.start)
        session.enters_service(ServiceState(name, by_hand=True))
        await session.bench.generator.enter_service(name)
        self.restart()

    def restart(self) -> None:
        """Begin anew from where the trim stands, with a policy without readings."""
        trim = self.actuator.trim
        self.policy = _policy(self.session, self.point, self.timing, trim, self.prior)
        self.actuator.use_policy(self.policy)

    def may_wait_for_rf(self, end: Finish) -> bool:
        """Return whether a trim without effect was moved only while RF was on, by its port, so far.

        Some units take what was set in service mode only as RF is switched on.
        """
        by_port = self.session.bench.generator.unattended and not self.began_with_rf_on
        return by_port and self.policy.spec.moves_while_on and end.reason == NO_EFFECT

    def move_with_rf_off(self) -> None:
        """Begin anew from the trim's start, and move it between activations alone."""
        self.session.trims_wait_for_rf = self.began_with_rf_on = True
        self.restart()

    def presses_may_be_missing(self, end: Finish) -> bool:
        """Return whether the trim may have had no effect because no key was pressed."""
        by_hand = not self.session.bench.generator.unattended
        return by_hand and end.reason == NO_EFFECT

    @property
    def leaving_puts_back(self) -> bool:
        """Whether the trim goes back to its start at the end, and a coached person moved it.

        They are not asked for the presses then, whose number nobody would see: what was not saved
        is undone by leaving service mode.
        """
        end = self.policy.end
        if end is None or not end.back_at_start or self.presses_may_be_missing(end):
            return False
        return self._leaving_undoes_presses

    @property
    def _leaving_undoes_presses(self) -> bool:
        """Whether a coached person has moved the trim, and nothing of it is saved."""
        service = self.session.service
        coached = self.actuator.coach is not None
        return coached and service is not None and service.has_unstored_moves

    async def put_back_by_leaving(self) -> AsyncIterator[Event]:
        """Have service mode left without saving, in place of the presses that put the trim back."""
        async for event in leave_if_moved(self.session):
            yield event
        self.policy.put_back()
        self.actuator.note_put_back(self.found.start)

    async def leave_unsaved(self, verdict: VerdictAndReason) -> AsyncIterator[Event]:
        """Leave service mode without saving, and yield a result without a value.

        What was pressed there is not known, and leaving undoes it.
        """
        await self.session.bench.generator.leave_unsaved()
        self.session.left_service()
        yield self.found.done(self.found.without_value(*verdict))

    async def end_without_value(self, verdict: VerdictAndReason) -> AsyncIterator[Event]:
        """Put the trim back to its start, and yield a result without a value."""
        if self._leaving_undoes_presses:
            async for event in self.put_back_by_leaving():
                yield event
        else:
            await self.actuator.put_back(self.found.start)
        yield self.found.done(self.found.without_value(*verdict))

    async def end_events(self, end: Finish) -> AsyncIterator[Event]:
        """Store the trims of a point that passes or was left better than it was found.

        Yields what was learned and the result.
        """
        session, observation = self.session, self.found.observation_at(end)
        if self.began_with_rf_on:
            observation = self._noted(observation, end)
        if self.actuator.coach is not None:
            session.show_cue(cue_at_end(end))
        confirmed = end.ended == "confirmed" and not end.reason
        learned = self.policy.learned() if confirmed else None
        if learned is not None:  # of a point that was given up the gain may be of anything
            yield PointLearned(
                **session.stamp(),
                point=self.point.name,
                gain_per_count=learned.gain,
                lag_s=learned.lag_s,
                dead_s=learned.dead_time_s,
                hunting=learned.hunting,
            )
        if observation.verdict == "pass" or self.found.trim_moved:
            if session.service is not None:
                session.service.told_to_store = True
            await session.bench.generator.store_trims()
            if session.service is not None:
                session.service.mark_stored()
            yield TrimsStored(**session.stamp(), told_by=session.told_by)
        yield self.found.done(observation, trim_told_by=self.actuator.told_by)

    def _noted(self, seen: Observation, end: Finish) -> Observation:
        """Return `seen` with how the trim was moved; others begin so where it landed the output."""
        acted = end.ended == "confirmed" and not end.reason and self.found.trim_moved
        self.session.trims_wait_for_rf = acted
        return seen.with_note(WAITS_FOR_RF if acted else MOVED_BOTH_WAYS)
