"""What one run carries from activation to activation: time on, warmth, and the rest that is due."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal, TypedDict

# what the estimators import when first needed must be in before RF is on: an import takes up to
# seconds, in which nobody hears a signal and the guard hears nothing
import scipy.special  # noqa: F401

from ohmwright.estimation.thermal_droop import ResidualWarmth
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.operator import NOT_ANSWERS
from ohmwright.model.bench_status import BenchStatus, OnStatus, TargetBand, ignore_status
from ohmwright.model.event import (
    ActivationClosed,
    ActivationOpened,
    Asked,
    PointDone,
    SlowRelease,
    UnaskedRf,
)
from ohmwright.model.hardware import InputPath
from ohmwright.model.result import Result, Sample
from ohmwright.model.step import Timing
from ohmwright.model.traceability import Traceability

from .activation import Activation, activation
from .analyzer_input import AnalyzerInput
from .measured_value import Accuracy
from .pending_events import PendingEvents
from .release import confirmed_release
from .resting import OutputWarmth
from .service_state import ServiceState

_LOOK_EVERY_S = 1.0
"""In a rest it is seen so often that RF is off."""
_SLOW_RELEASE_S = 0.5
_SLOW_RELEASE_READINGS = 2


class Stamp(TypedDict):
    """The two times of an event."""

    at: datetime
    bench_s: float


@dataclass
class Session:
    """A bench at work."""

    bench: Bench
    on_status: OnStatus = ignore_status
    accuracy: Accuracy | None = None
    """What the analyzer's certificate says of its readings today; None without one."""
    notes: PendingEvents = field(default_factory=PendingEvents)
    """Events to be handed out when RF is off."""
    service: ServiceState | None = None
    """Service mode, while a point is adjusted."""
    answered: int = 0
    """How many requests a person has answered with an answer of the request's own."""
    aim: TargetBand | None = None
    """What the readings of the next activations are held against, as a person is shown it."""
    input: AnalyzerInput = field(init=False)
    started_s: float = field(init=False)
    _heat: OutputWarmth = field(init=False)
    _latest_on_s: float = 0.0
    """How long RF was on in the latest activation."""

    def __post_init__(self) -> None:
        self.started_s = self.bench.clock.now_s()
        self.input = AnalyzerInput(self.bench)
        self._heat = OutputWarmth.of(self.bench)
        self.bench.operator.on_answer = self._note_answer

    def _note_answer(self, question: str, answer: str, words: str) -> None:
        own = answer not in NOT_ANSWERS
        self.answered += own
        if self.service is not None and answer != "comment":
            self.service.asked = "" if own else question
        self.notes.add(
            Asked(
                **self.stamp(),
                question=question,
                answer=answer,
                words=words,
                told_by=self.bench.operator.name,
            )
        )

    @property
    def told_by(self) -> str | None:
        """Whose word it is that the unit was worked; None where that is done by port."""
        bench = self.bench
        return None if bench.generator.unattended else bench.operator.name

    def stamp(self) -> Stamp:
        """The two times every event carries."""
        clock = self.bench.clock
        return Stamp(at=clock.wall(), bench_s=round(clock.now_s(), 6))

    def activation_opened(
        self, *, load_ohm: float, limit_s: float, setting_w: float | None = None
    ) -> ActivationOpened:
        """The event to be kept before RF comes on; `limit_s` becomes what ON really carries."""
        return ActivationOpened(
            **self.stamp(),
            load_ohm=load_ohm,
            limit_s=self.bench.analyzer.sent_limit_s(limit_s),
            setting_w=setting_w,
        )

    def activation_closed(self) -> ActivationClosed:
        """The event to be kept once RF has been read back as off."""
        return ActivationClosed(**self.stamp(), on_s=round(self._latest_on_s, 3))

    @property
    def on_s(self) -> float:
        """How long RF was on so far, from ON to its release, in seconds."""
        return self.notes.on_s

    def show(self, sample: Sample, opened: Activation) -> None:
        """Let whoever looks see a reading, then see that it is not far more than was asked for."""
        self.on_status(
            BenchStatus(
                "on",
                self.bench.clock.now_s(),
                age_s=sample.age_s,
                left_s=opened.left_s,
                current_ma=sample.current_ma,
                aim=self.aim,
            )
        )
        opened.note_current(sample.current_ma)

    async def rest(self, timing: Timing, *, power_w: float, tolerance: float) -> ResidualWarmth:
        """Wait until an activation at `power_w` may begin; say what warmth is then left over.

        `tolerance`: the narrower side of what the value is held against, relative; 0 asks
        for the whole rest of the procedure. See `OutputWarmth.rest_s`. Once a second it is seen
        that RF is off; where it is not, OFF is sent and the rest begins anew.
        """
        clock = self.bench.clock
        rest_s = self._heat.rest_s(clock.now_s(), timing, power_w, tolerance)
        end_s = clock.now_s() + rest_s
        while (left_s := end_s - clock.now_s()) > 0:
            self.on_status(BenchStatus("off", clock.now_s(), rest_left_s=left_s, aim=self.aim))
            await clock.sleep(min(left_s, _LOOK_EVERY_S))
            if await self._ended_unasked():
                end_s = clock.now_s() + timing.rest_s
        return self._heat.left_over(clock.now_s(), timing.age_s)

    async def confirm_nothing_flows(self) -> None:
        """After a change of the input path: see that nothing flows there either.

        Raises ReleaseNotConfirmed when something does and OFF does not end it.
        """
        meter = self.bench.analyzer.data.meter
        await self.bench.clock.sleep(meter.window_s + 1 / meter.readings_per_s)
        await self._ended_unasked()

    async def _ended_unasked(self) -> bool:
        """Whether RF was on though nobody asked, and OFF ended it.

        Raises ReleaseNotConfirmed when it did not.
        """
        problem = await self.bench.rf.found_on()
        if problem is None:
            return False
        self.on_status(BenchStatus("on", self.bench.clock.now_s()))
        await confirmed_release(self.bench)
        self.notes.add(UnaskedRf(**self.stamp(), seen=problem))
        return True

    def point_done(
        self,
        result: Result,
        path: InputPath | Literal["none"],
        mode: str | None = None,
        setting_w: float | None = None,
    ) -> PointDone:
        """A point with its result, how it was measured, and what its uncertainty rests on.

        `setting_w` is None in service mode, which has its own.
        """
        rests_on = "none" if result.measured is None else result.traceability or self.traceability
        told = result.model_copy(
            update={
                "mode": mode,
                "setting_w": setting_w,
                "setting_told_by": None if mode is None else self.told_by,
                "path": path,
                "path_told_by": None if path == "none" else self.input.told_by,
                "traceability": rests_on,
            }
        )
        return PointDone(**self.stamp(), result=told)

    @property
    def bench_time_s(self) -> float:
        """How long this session has lasted."""
        return self.bench.clock.now_s() - self.started_s

    @property
    def traceability(self) -> Traceability | Literal["none"]:
        """The analyzer's calibration that uncertainties rest on as long as this session lasts."""
        known = self.accuracy
        return "none" if known is None else known.certificate.traceability(known.on)

    @asynccontextmanager
    async def activation(
        self, *, load_ohm: float, power_w: float, limit_s: float
    ) -> AsyncIterator[Activation]:
        """An activation whose time is counted and whose heat is kept account of."""
        clock = self.bench.clock
        before_s = clock.now_s()
        opened: Activation | None = None
        self.on_status(BenchStatus("coming on", before_s, aim=self.aim))
        try:
            async with activation(
                self.bench, load_ohm=load_ohm, power_w=power_w, limit_s=limit_s
            ) as opened:
                before_s = clock.now_s()
                self._show_on(opened)
                try:
                    yield opened
                finally:
                    self.on_status(BenchStatus("going off", clock.now_s()))
        finally:
            # the instrument ends it at its limit, however long a person was at the keys
            now_s = min(clock.now_s(), before_s + limit_s)
            self._latest_on_s = now_s - before_s
            self.notes.on_s += self._latest_on_s
            seen_w = None if opened is None else opened.power_w
            self._heat.note(before_s, now_s, power_w if seen_w is None else seen_w)
            self._after(opened)

    def _show_on(self, opened: Activation) -> None:
        now_s = self.bench.clock.now_s()
        self.on_status(BenchStatus("on", now_s, age_s=0.0, left_s=opened.left_s, aim=self.aim))

    def show_rf(self) -> None:
        """Let whoever looks see how RF was read just now."""
        self.on_status(BenchStatus(self.bench.rf.state, self.bench.clock.now_s()))

    def _after(self, opened: Activation | None) -> None:
        """Show how RF stands, and keep it in mind when OFF took long."""
        self.show_rf()
        took_s = None if opened is None else opened.release_s
        readings_s = _SLOW_RELEASE_READINGS / self.bench.analyzer.data.meter.readings_per_s
        if took_s is not None and took_s > max(_SLOW_RELEASE_S, readings_s):
            self.notes.add(SlowRelease(**self.stamp(), took_s=round(took_s, 3)))
