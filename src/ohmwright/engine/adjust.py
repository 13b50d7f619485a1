"""One adjustment point: the policy's actions carried out, events handed out while RF is off."""

from __future__ import annotations

from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

from ohmwright.adjustment.actions import Activate, Finish, Move, Press
from ohmwright.adjustment.fleet_prior import FleetPrior
from ohmwright.adjustment.parameters import Parameters
from ohmwright.adjustment.policy import NO_EFFECT, AdjustPolicy
from ohmwright.estimation.point import Expected, Keys, PointSpec
from ohmwright.estimation.settled_value import Settled
from ohmwright.estimation.thermal_droop import ResidualWarmth
from ohmwright.instruments.generator import Generator
from ohmwright.model.event import (
    Event,
    PointLearned,
    TrimsStored,
)
from ohmwright.model.hardware import GeneratorData, ServiceMode, ServicePoint
from ohmwright.model.procedure import AdjustStep, Point, Timing
from ohmwright.model.result import AMPLE_DOF, Verdict

from .adjustment_activation import AdjustmentActivation, run_adjustment_activation
from .doubt import AsTold, Doubt, DoubtResolver
from .judge import accepted_half_width
from .measured_value import linear_measured_value
from .point_measurement import Observation, observed
from .service_state import ServiceState
from .session import Session
from .stop_rules import aim_of, question
from .trim_actuator import TrimActuator

_PARAMETERS = Parameters(inner=0.35, well_landed=0.4)
"""A trim that stands well has longer to creep before it is out again."""
_TO_LOOK_ONLY = 1.0
"""Relative tolerance of an activation that decides nothing: its warmth need not have gone."""
_COARSE_SD = 0.13
"""What a coarse press may be off by, as a part of what it is said to be worth."""


@dataclass(frozen=True)
class PriorOfPoint:
    """What is known of a point before it is adjusted; None where nothing is."""

    prior: FleetPrior | None = None
    """What earlier units of the model taught."""
    expected: Expected | None = None
    """What this unit's own as-found curve leads to expect, in mA."""


@dataclass
class _Work:
    """One adjustment under way."""

    session: Session
    step: AdjustStep
    timing: Timing
    policy: AdjustPolicy
    actuator: TrimActuator
    start: int
    known: PriorOfPoint
    clearing: DoubtResolver
    activations: list[AdjustmentActivation] = field(default_factory=list)

    @property
    def point(self) -> Point:
        """What is adjusted."""
        return self.step.points()[0]


async def adjust_point(
    session: Session, step: AdjustStep, timing: Timing, known: PriorOfPoint
) -> AsyncIterator[Event]:
    """Adjust `step.point`; the trim goes back to its start when it cannot be brought in.

    The trim is moved while RF is on where the unit allows it; its events wait in the session's
    notes.
    """
    work = await _begun(session, step, timing, known)
    while True:
        action = work.policy.next_action()
        if isinstance(action, Finish):
            if not _may_be_the_hands(work, action):
                break
            told = await work.clearing.resolve("no effect", step.point)
            if told is not None:
                async for event in _left_unsaved(work, told):
                    yield event
                return
            await session.bench.generator.enter_service(step.point)
            _begin_anew(work)
        elif isinstance(action, Move | Press):
            await work.actuator.carry_out(action)
        elif isinstance(action, Activate):
            left = await _rest(work)
            limit_s = work.policy.spec.timeout_s
            yield session.activation_opened(load_ohm=step.load_ohm, limit_s=limit_s)
            work.activations.append(await _activation(work, left))
            yield session.activation_closed()
            told = await _cleared_up(work, work.activations[-1])
            if told is not None:
                async for event in _given_up(work, told):
                    yield event
                return
    async for end in _ending(work, action):
        yield end


async def _begun(session: Session, step: AdjustStep, timing: Timing, known: PriorOfPoint) -> _Work:
    await session.join_path("OUTPUT")
    generator = session.bench.generator
    session.service = ServiceState(step.point, by_hand=not generator.unattended)
    start = await generator.enter_service(step.point)
    policy = _policy(session, step, timing, start, known)
    session.aim = aim_of(policy.spec.question)
    actuator = TrimActuator(session, policy, step.point, start)
    clearing = DoubtResolver(
        session, f"service mode, point {step.point}", partial(generator.enter_service, step.point)
    )
    return _Work(session, step, timing, policy, actuator, start, known, clearing)


def _policy(
    session: Session, step: AdjustStep, timing: Timing, trim: int, known: PriorOfPoint
) -> AdjustPolicy:
    """A policy that knows nothing yet of a point whose trim stands at `trim`."""
    return AdjustPolicy(point_spec(session, step, timing, trim, known), known.prior, _PARAMETERS)


async def _cleared_up(work: _Work, seen: AdjustmentActivation) -> AsTold | None:
    """Where there was no output, or far too much: what is to be recorded.

    None where all is well, and where the point is to be begun anew, which it then is.
    """
    doubt: Doubt | None = "too much" if seen.excess else "no output" if seen.nothing else None
    if doubt is None:
        return None
    told = await work.clearing.resolve(doubt, seen.excess)
    if told is None:
        _begin_anew(work)
    return told


def _begin_anew(work: _Work) -> None:
    """With nothing learned, from where the trim stands."""
    work.policy = _policy(work.session, work.step, work.timing, work.actuator.trim, work.known)
    work.actuator.follow(work.policy)


def _may_be_the_hands(work: _Work, end: Finish) -> bool:
    """Whether a trim without effect may be a key that was never pressed."""
    by_hand = not work.session.bench.generator.unattended
    return by_hand and end.reason == NO_EFFECT


async def _left_unsaved(work: _Work, told: AsTold) -> AsyncIterator[Event]:
    """Service mode left without saving, for what was pressed there is not known; no value."""
    await work.session.bench.generator.leave_unsaved()
    work.session.service = None
    async for event in _without_value(work, told):
        yield event


async def _given_up(work: _Work, told: AsTold) -> AsyncIterator[Event]:
    """The trim put back to its start, and a result without a value."""
    await work.actuator.put_back(work.start)
    async for event in _without_value(work, told):
        yield event


async def _without_value(work: _Work, told: AsTold) -> AsyncIterator[Event]:
    session, actuator = work.session, work.actuator
    on_s = sum(each.on_s for each in work.activations)
    seen = Observation("not measured", "", None, None, on_s, work.activations[-1].samples)
    result = seen.as_told(told).result(
        "adjust", work.step, work.point, start_trim=work.start, final_trim=actuator.trim
    )
    yield session.point_done(result, "OUTPUT", _mode(session, work.step))


async def _rest(work: _Work) -> ResidualWarmth:
    """Rest as what comes next needs it, and let the policy know how long that was."""
    clock, question = work.session.bench.clock, work.policy.spec.question
    before_s = clock.now_s()
    left = await work.session.rest(
        work.timing,
        power_w=(question.target / 1000) ** 2 * work.step.load_ohm,
        tolerance=question.tolerance / question.target if work.policy.to_confirm else _TO_LOOK_ONLY,
    )
    work.policy.rested(clock.now_s() - before_s)
    return left


async def _activation(work: _Work, left: ResidualWarmth) -> AdjustmentActivation:
    return await run_adjustment_activation(
        work.session,
        work.policy,
        work.actuator,
        work.point,
        power_w=full_power_w(work.session.bench.generator.data, work.step.point),
        limit_s=work.policy.spec.timeout_s,
        left=left,
    )


async def _ending(work: _Work, end: Finish) -> AsyncIterator[Event]:
    """What was learned, the trims kept where the point is good, and the result."""
    session, step = work.session, work.step
    seen = _observed(session, end, work.point, work.timing, work.activations)
    taught = work.policy.learned()
    if taught is not None:
        yield PointLearned(
            **session.stamp(),
            point=step.point,
            gain_per_count=taught.gain,
            lag_s=taught.lag_s,
            dead_s=taught.dead_s,
            hunting=taught.hunting,
        )
    if seen.verdict == "pass":
        await session.bench.generator.store_trims()
        if session.service is not None:
            session.service.stored()
        yield TrimsStored(**session.stamp(), told_by=session.told_by)
    result = seen.result(
        "adjust", step, work.point, start_trim=work.start, final_trim=work.actuator.trim
    )
    told = result.model_copy(update={"trim_told_by": session.told_by})
    yield session.point_done(told, "OUTPUT", _mode(session, step))


def _mode(session: Session, step: AdjustStep) -> str | None:
    """The mode of an adjustment point, where the generator's data know it; its setting is the
    service mode's own."""
    data = session.bench.generator.data.point(step.point)
    return None if data is None else data.mode


def point_spec(
    session: Session, step: AdjustStep, timing: Timing, start: int, known: PriorOfPoint
) -> PointSpec:
    """What the policy is told of a point whose trim stands at `start`."""
    bench, point = session.bench, step.points()[0]
    data, service = bench.generator.data.point(step.point), bench.generator.data.service
    asked = question(point, timing, bench.analyzer.data.meter)
    return PointSpec(
        question=replace(asked, limits=None, tolerance=_accepted_ma(session, point, timing)),
        timeout_s=timing.max_on_s,
        rest_s=timing.rest_s,
        keys=None if bench.generator.unattended or service is None else _keys(service),
        range=_range(bench.generator, data, start),
        moves_while_on=service is None or service.moves_while_on,
        expected=known.expected,
    )


def _accepted_ma(session: Session, point: Point, timing: Timing) -> float:
    """How far from the target the point's decision rule will let an undoubted reading lie."""
    undoubted = Settled(point.target.value, 0.0, AMPLE_DOF, 0.0, settled=True)
    measured = linear_measured_value(
        undoubted, point.target.quantity, point.load_ohm, timing, session.accuracy
    )
    return accepted_half_width(measured, point.target, point.decision)


def _keys(service: ServiceMode) -> Keys:
    counts = max(1, round(service.coarse_counts))
    return Keys(coarse_counts=counts, coarse_sd=_COARSE_SD * counts)


def _range(generator: Generator, data: ServicePoint | None, start: int) -> tuple[int, int] | None:
    """Counts from the start that the trim can reach; not known of a unit that cannot tell them."""
    if data is None or not generator.unattended:
        return None
    return data.min_trim - start, data.max_trim - start


def _observed(
    session: Session,
    end: Finish,
    point: Point,
    timing: Timing,
    activations: Sequence[AdjustmentActivation],
) -> Observation:
    """The end as an observation: only a confirmation has a value."""
    on_s = sum(each.on_s for each in activations)
    samples = activations[-1].samples if activations else ()
    if end.value is None or end.uncertainty is None or end.dof is None:
        verdict: Verdict = "undecided" if end.verdict == "undecided" else "fail"
        return Observation(verdict, end.reason, None, None, on_s, samples)
    settled = Settled(end.value, end.uncertainty, end.dof, 0.0, settled=True)
    return observed(session, settled, point, timing, on_s, samples)


def full_power_w(generator: GeneratorData, point_name: str) -> float:
    """The most that service mode can put into a load at a point: its mode's full setting."""
    point = generator.point(point_name)
    modes = [mode for mode in generator.modes if point is None or mode.name == point.mode]
    return max(mode.max_setting_w for mode in modes or generator.modes)
