"""The events of one visit: measured as found, adjusted where it is off, measured as left."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import timedelta
from typing import Any

from ohmwright.engine.judge import conformity, judge
from ohmwright.engine.measured_value import left_out, linear_measured_value
from ohmwright.engine.opening_events import SOFTWARE
from ohmwright.engine.procedure_file import ProcedureFile
from ohmwright.engine.run import overall_verdict
from ohmwright.engine.steps.adjust import AdjustStep
from ohmwright.engine.steps.base import Step
from ohmwright.engine.steps.power_curve import PowerCurveStep
from ohmwright.model.event import (
    DocumentKept,
    Event,
    PointDone,
    RunFinished,
    RunStarted,
    StageStarted,
    StepStarted,
    TrimMoved,
    TrimsStored,
)
from ohmwright.model.hardware import GeneratorData
from ohmwright.model.result import Result
from ohmwright.model.step import STAGES, Point, Stage

from .bench_day import BENCH, READ_S, BenchDay
from .unit_state import AgeingUnit

_ON_S = 8.5
_AGAIN = 4.0
"""How much longer an output is read that the first readings leave undecided."""
_WORTHWHILE = 0.4
"""A point is adjusted that is off by more than this part of its tolerance."""


class Visit:
    """One unit on the bench for one run; `events` changes the unit's trims."""

    def __init__(self, state: AgeingUnit, day: BenchDay, file: ProcedureFile, run_id: str) -> None:
        self._state, self._day, self._file, self._run_id = state, day, file, run_id
        self._bench_s = self._on_s = 0.0
        self._found: list[Result] = []
        self._traceability = day.certificate.traceability(day.begun.date())

    def events(self) -> Iterator[Event]:
        """Yield the events of the run, in order."""
        yield from self._opening()
        for stage in STAGES:
            yield StageStarted(**self._stamp(1.0), stage=stage)
            for step in self._file.procedure.steps_in(stage):
                yield StepStarted(**self._stamp(1.0), stage=stage, step=step.name, note=step.note)
                yield from self._step(stage, step)
        yield RunFinished(
            **self._stamp(2.0),
            verdict=overall_verdict(self._found),
            on_s=round(self._on_s, 3),
            bench_time_s=round(self._bench_s, 3),
        )

    def _opening(self) -> Iterable[Event]:
        day, unit, procedure = self._day, self._state.invented, self._file.procedure
        documents = day.documents(self._file, unit.asset, unit.data, unit.seed)
        yield RunStarted(
            **self._stamp(0.0),
            run_id=self._run_id,
            procedure=procedure.title,
            revision=procedure.revision,
            procedure_digest=self._file.digest,
            stages=STAGES,
            bench=BENCH,
            analyzer=day.hardware.identity,
            generator=f"{unit.asset.maker},{unit.asset.model},{unit.asset.serial}",
            asset=unit.asset,
            operator=day.operator,
            software=f"{SOFTWARE}, invented history: no instrument was read",
            traceability=self._traceability,
            environment=day.room,
            seed=unit.seed,
            documents=tuple(one.ref for one in documents),
        )
        for one in documents:
            yield DocumentKept(**self._stamp(0.0), document=one)

    def _step(self, stage: Stage, step: Step) -> Iterator[Event]:
        if isinstance(step, AdjustStep):
            yield from self._adjusted(stage, step)
        elif isinstance(step, PowerCurveStep):
            for point in step.points():
                yield self._done(self._result(stage, step, point, step.mode, step.setting_w))

    def _adjusted(self, stage: Stage, step: AdjustStep) -> Iterator[Event]:
        """Move the trim of a point that is off, and confirm it."""
        point, trims = step.target_point(), self._state.trims
        mode, setting_w = _keyed(self._state.data, step.point)
        start, before = trims[step.point], self._result(stage, step, point, mode, None, setting_w)
        off = abs(before.error or 0.0) > _WORTHWHILE * point.target.half_width
        sealed_since = self._state.invented.sealed_since
        if off and (sealed_since is None or self._day.begun.date() < sealed_since):
            trims[step.point] = self._counts_on_target(step, point, mode, setting_w)
            moved = trims[step.point] - start
            yield TrimMoved(**self._stamp(_ON_S), point=step.point, counts=moved)
        result = self._result(stage, step, point, mode, None, setting_w)
        if trims[step.point] != start:
            yield TrimsStored(**self._stamp(1.0))
        update = {"start_trim": start, "final_trim": trims[step.point]}
        yield self._done(result.model_copy(update=update))

    def _counts_on_target(self, step: AdjustStep, point: Point, mode: str, setting_w: float) -> int:
        """The counts at which the meter reads closest to the target; output is monotone in them."""
        state, known = self._state, self._state.data.point(step.point)
        assert known is not None  # as reading the profile saw to
        low, high = known.min_trim, known.max_trim

        def off_ma(counts: int) -> float:
            state.trims[step.point] = counts
            return self._true_ma(step, point, mode, setting_w) - point.target.value

        rises = off_ma(high) > off_ma(low)
        while high - low > 1:
            middle = (low + high) // 2
            if (off_ma(middle) > 0) == rises:
                high = middle
            else:
                low = middle
        return min((low, high), key=lambda counts: abs(off_ma(counts)))

    def _true_ma(self, step: Step, point: Point, mode: str, setting_w: float) -> float:
        age_s = self._file.procedure.timing(step).age_s
        bank = self._day.hardware.bank
        return self._state.true_ma(mode, setting_w, point.load_ohm, bank, age_s)

    def _result(
        self,
        stage: Stage,
        step: Step,
        point: Point,
        mode: str,
        setting_w: float | None,
        keyed_w: float = 0.0,
    ) -> Result:
        """The result of a point, read once, and longer where that leaves it undecided.

        `keyed_w`: the setting in service mode, which no result states.
        """
        true_ma = self._true_ma(step, point, mode, keyed_w if setting_w is None else setting_w)
        result = self._read(stage, step, point, mode, true_ma, READ_S)
        if result.verdict == "undecided":
            result = self._read(stage, step, point, mode, true_ma, _AGAIN * READ_S)
        return result.model_copy(update={"setting_w": setting_w})

    def _read(
        self, stage: Stage, step: Step, point: Point, mode: str, true_ma: float, read_s: float
    ) -> Result:
        accuracy = self._day.accuracy(self._state.profile, mode, point.load_ohm)
        settled = self._day.hardware.read(true_ma, self._state.unit.dynamics, read_s)
        timing, quantity = self._file.procedure.timing(step), point.target.quantity
        measured = linear_measured_value(settled, quantity, point.load_ohm, timing, accuracy)
        measured = measured.model_copy(update={"left_out": left_out(quantity, accuracy)})
        verdict, reason = judge(measured, point.target, point.decision)
        return Result(
            stage=stage,
            step=step.name,
            point=point.name,
            kind=step.kind,
            verdict=verdict,
            reason=reason,
            mode=mode,
            load_ohm=point.load_ohm,
            path="OUTPUT",
            traceability=self._traceability,
            target=point.target,
            measured=measured,
            conformity=conformity(measured, point.target, point.decision),
            on_s=_ON_S,
        )

    def _done(self, result: Result) -> PointDone:
        self._found.append(result)
        self._on_s += result.on_s
        rest_s = self._file.procedure.defaults.rest_s
        return PointDone(**self._stamp(result.on_s + rest_s), result=result)

    def _stamp(self, after_s: float) -> dict[str, Any]:
        """Time of day and bench time of an event, `after_s` seconds after the one before."""
        self._bench_s += after_s
        return {
            "at": self._day.begun + timedelta(seconds=self._bench_s),
            "bench_s": round(self._bench_s, 6),
        }


def _keyed(generator: GeneratorData, point: str) -> tuple[str, float]:
    """Mode and setting that service mode keys at an adjustment point."""
    known = generator.point(point)
    mode = None if known is None else generator.mode(known.mode)
    assert mode is not None  # as reading the profile saw to
    return mode.name, mode.max_setting_w
