"""After adjusting: points that a later trim may have moved are checked, and adjusted again."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

from ohmwright.adjustment.point import Expected
from ohmwright.instruments.operator import SkipStep
from ohmwright.model.errors import LoadNotConnected
from ohmwright.model.event import Event, PointDone
from ohmwright.model.result import Result
from ohmwright.model.step import Point, Timing

from .activation_events import activation_closed, activation_opened
from .as_left_evidence import AsLeftEvidence
from .doubt import Doubt, DoubtResolver, OutputSetting
from .point_measurement import Observation, measure_point
from .prior_of_point import PriorOfPoint
from .procedure import Procedure
from .requirements import full_power_w
from .service_state import ServiceState
from .session import Session
from .steps.adjust import AdjustStep
from .steps.base import StepRun
from .trim_log import TrimLog, trims_moved
from .undoubted import doubt_in, least_output_ma, meter_words

_NO_VALUE = {"verdict": "not measured", "measured": None, "conformity": None, "samples": ()}


@dataclass(frozen=True)
class AdjustingAgain:
    """What is done once all points are adjusted, RF off at every yield."""

    procedure: Procedure
    session: Session
    results: Sequence[Result]
    """All results of the run so far; the caller appends those made here as they come."""
    priors: Mapping[str, PriorOfPoint]
    """What was known of each point before it was adjusted, by step name."""

    as_left_follows: bool
    """Whether the run measures the unit as left after this."""

    async def events(self) -> AsyncIterator[Event]:
        """Check each point that a later trim may have moved; adjust again those that are off."""
        for check in self._log.left_of_round():
            async for event in self._adjust(check):
                yield event
        while True:
            for before, moved_trims in self._checks():
                async for event in self._check(before, moved_trims):
                    yield event
            checks = self._log.to_adjust_again()
            if not checks:
                return
            for check in checks:
                async for event in self._adjust(check):
                    yield event

    def skipped_results(self, skip: SkipStep) -> Iterator[Result]:
        """Yield "not measured" for each point that was to be checked when a person skipped that."""
        for before, moved_trims in self._checks():
            yield before.model_copy(
                update={
                    **_NO_VALUE,
                    "reason": f"{skip.reason}; not measured since {trims_moved(moved_trims)}",
                    "again": "checked",
                    "moved_trims": moved_trims,
                }
            )

    def _checks(self) -> list[tuple[Result, tuple[str, ...]]]:
        """Return each point that is to be checked now, and the trims that may have moved it.

        Where the data do not say what a trim moves, a value as left, if one is to come, must have
        shown a move first; once the unit is known to couple trims, only those of another mode wait.
        """
        log = self._log
        generator = self.session.bench.generator.data
        as_left = AsLeftEvidence(self.procedure, generator, self.results)

        def is_called_for(before: Result, trims: tuple[str, ...]) -> bool:
            if any(log.is_stated(trim, before.point) for trim in trims):
                return True
            said = as_left.of(before)
            if said == "to come":
                return log.is_likely(trims, before.point) or not self.as_left_follows
            return said != "stayed"

        return [
            (before, trims) for before, trims in log.due_checks() if is_called_for(before, trims)
        ]

    @property
    def _log(self) -> TrimLog:
        return TrimLog(self.session.bench.generator.data, self.results)

    def _step(self, result: Result) -> AdjustStep:
        steps = (s for s in self.procedure.step if isinstance(s, AdjustStep))
        return next(step for step in steps if step.name == result.step)

    async def _check(self, before: Result, moved_trims: tuple[str, ...]) -> AsyncIterator[Event]:
        """Measure a point in service mode, its trim not moved; yield the events."""
        session, step = self.session, self._step(before)
        yield step.started(session, "adjust")
        check = _Check(session, step, step.target_point(), self.procedure.timing(step))
        async for event in check.events():
            yield event
        trims = {"start_trim": before.start_trim, "final_trim": before.final_trim}
        result = check.seen.result("adjust", step, check.point, **trims).model_copy(
            update={
                "trim_told_by": before.trim_told_by,
                "again": "checked",
                "moved_trims": moved_trims,
            }
        )
        reasons = filter(None, (result.reason, self._log.shift_note(result)))
        yield session.point_done(
            result.model_copy(update={"reason": "; ".join(reasons)}), "OUTPUT", before.mode
        )

    async def _adjust(self, check: Result) -> AsyncIterator[Event]:
        """Adjust a point again, from where its trim stands; yield the events.

        The trims of its result count from where it stood before it was adjusted first.
        """
        session, step = self.session, self._step(check)
        known, expected = self.priors.get(step.name, PriorOfPoint()), None
        if check.measured is not None and self._log.stands(check):
            expected = Expected(check.measured.value, check.measured.uncertainty)
        prior = replace(known, expected=expected)
        timing = self.procedure.timing(step)
        work = StepRun(session, "adjust", timing, (step.point,), (), False, {step.name: prior})
        first = self._log.first_of(check)
        yield step.started(session, "adjust")
        async for event in step.run(work):
            yield _again(event, first, check) if isinstance(event, PointDone) else event


def _again(event: PointDone, first: Result, check: Result) -> PointDone:
    """Return the event of a point adjusted again, its trims counted on from the earlier results."""
    result = event.result
    update: dict[str, object] = {"again": "adjusted", "moved_trims": check.moved_trims}
    start, final, before = result.start_trim, result.final_trim, check.final_trim
    if start is not None and final is not None and before is not None:
        update |= {"start_trim": first.start_trim, "final_trim": before + final - start}
    return event.model_copy(update={"result": result.model_copy(update=update)})


@dataclass
class _Check:
    """One rested activation at an adjusted point in service mode, repeated while in doubt."""

    session: Session
    step: AdjustStep
    point: Point
    timing: Timing
    seen: Observation = field(init=False)
    """What the last activation showed."""

    async def events(self) -> AsyncIterator[Event]:
        """Enter service mode at the point, activate, and yield the events; then `seen` is known."""
        session, generator = self.session, self.session.bench.generator
        await session.input.join("OUTPUT")
        session.enters_service(ServiceState(self.point.name, by_hand=not generator.unattended))
        await generator.enter_service(self.point.name)
        resolver = DoubtResolver(
            session,
            f"service mode, point {self.point.name}",
            partial(generator.enter_service, self.point.name),
        )
        while True:
            yield await activation_opened(
                session, load_ohm=self.point.load_ohm, limit_s=self.timing.max_on_s
            )
            try:
                self.seen = await self._measure()
            except LoadNotConnected:
                yield activation_closed(session)
                raise
            yield activation_closed(session)
            doubt = self._doubt()
            if doubt is None:
                return
            seen = meter_words(self.seen.samples) if doubt == "no output" else self.seen.excess
            verdict = await resolver.resolve(doubt, seen)
            if verdict is not None:
                self.seen = self.seen.with_verdict(verdict)
                return

    async def _measure(self) -> Observation:
        bench = self.session.bench
        data = bench.generator.data.point(self.point.name)
        full_w = full_power_w(bench.generator.data, self.point.name)
        chosen = OutputSetting("" if data is None else data.mode, full_w)
        return await measure_point(
            self.session, self.point, chosen, self.timing, bench.analyzer.fetch_current
        )

    def _doubt(self) -> Doubt | None:
        """Return the reason to doubt the readings; a value far off is what a trim may have done."""
        least_ma = least_output_ma(self.session, self.point.target.value)
        return doubt_in(self.seen.samples, least_ma, self.seen.excess)
