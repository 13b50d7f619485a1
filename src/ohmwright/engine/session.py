"""The state that a run keeps from one activation to the next, and the events made from it."""

from __future__ import annotations

from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from typing import Literal

from ohmwright.estimation.activation_record import ActivationRecord
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.operator import NOT_ANSWERS
from ohmwright.model.assignment import PROGRAM
from ohmwright.model.bench_status import OnStatus, RfState, TargetBand, ignore_status
from ohmwright.model.cue import Cue
from ohmwright.model.event import Asked, Commented, PointDone
from ohmwright.model.given_values import NOTHING_GIVEN, GivenValues
from ohmwright.model.hardware import InputPath
from ohmwright.model.result import Result, Sample
from ohmwright.model.traceability import Traceability

from .activation import Activation, activation, refuse_unless_all_clear
from .analyzer_input import AnalyzerInput
from .measured_value import Accuracy
from .meter_window import MeterWindow
from .pending_events import PendingEvents, Stamp
from .resting import OutputWarmth
from .service_state import ServiceState
from .stated_droop import StatedDroop
from .time_on import latest_off_s, most_on_s, slow_release


@dataclass
class Session:
    """A bench during a run: activations, the time RF was on, and what waits to be told."""

    bench: Bench
    on_status: OnStatus = ignore_status
    accuracy: Accuracy | None = None
    """Accuracy of the analyzer's readings by its certificate; None without a certificate."""
    pending: PendingEvents = field(default_factory=PendingEvents)
    """Events that wait to be yielded until RF is off."""
    given: GivenValues = NOTHING_GIVEN
    """Answers that need not be asked for."""
    service: ServiceState | None = None
    """What was moved in service mode; None while no point is being adjusted."""
    service_was_left: bool = False
    """Whether the unit has left service mode since it entered it last: nobody is asked again."""
    answers_given: int = 0
    """Number of requests answered so far; skip, back, stop and comments do not count."""
    target_band: TargetBand | None = None
    """Limits for the current of the next activations, to be shown; None where it has none."""
    trims_wait_for_rf: bool = False
    """Whether moves of the unit's trims are taken to act only once RF is switched on anew, though
    its data say otherwise."""
    cue: Cue | None = None
    """What the person at the keys is told now; None while nobody is coached."""
    warmth: OutputWarmth = field(init=False)
    """Of the unit, by its activations so far, and the duty of unit and load bank."""
    input: AnalyzerInput = field(init=False)
    """Joins the analyzer's input to the circuit to be measured."""
    started_s: float = field(init=False)
    last_on_s: float = 0.0
    """How long RF was on at most in the last activation, in seconds."""
    last_on_at_s: float = 0.0
    """When the last activation began, by the bench's clock."""
    _window: MeterWindow = field(init=False)
    _droop: StatedDroop = field(init=False)

    def __post_init__(self) -> None:
        # what the estimators import when first needed must be in before RF is on: an import takes
        # up to seconds, in which nobody hears a signal and the guard hears nothing
        import scipy.special  # noqa: F401

        self.started_s = self.bench.clock.now_s()
        self.input = AnalyzerInput(self.bench)
        self.warmth = OutputWarmth.of_rested_bench(self.bench)
        self._window = MeterWindow(self.bench.analyzer.data.meter)
        stated = self.bench.generator.data.droop
        largest = None if stated is None else stated.largest
        self._droop = StatedDroop(largest, self.bench.analyzer.digit_ma)
        self.bench.operator.on_answer = self._note_answer
        self.bench.analyzer.on_unused_reading = self._remark

    def _note_answer(self, question: str, answer: str, words: str) -> None:
        own = answer not in NOT_ANSWERS
        self.answers_given += own
        if self.service is not None and answer != "comment":
            self.service.unanswered_request = "" if own else question
        self.pending.add(
            Asked(
                **self.stamp(),
                question=question,
                answer=answer,
                words=words,
                told_by=self.bench.operator.name,
            )
        )

    def enters_service(self, service: ServiceState) -> None:
        """Take that the unit is being sent into service mode at a point."""
        self.service, self.service_was_left = service, False

    def left_service(self) -> None:
        """Take that the unit is in normal use again."""
        self.service, self.service_was_left = None, True

    @property
    def told_by(self) -> str | None:
        """Name of the person who works the generator; None where it is worked by port."""
        bench = self.bench
        return None if bench.generator.unattended else bench.operator.name

    def stamp(self) -> Stamp:
        """Return the times of an event that happens now."""
        clock = self.bench.clock
        return Stamp(at=clock.wall(), bench_s=round(clock.now_s(), 6))

    @property
    def on_s(self) -> float:
        """Sum of the longest times that RF can have been on since the run was begun or resumed.

        In seconds, each from ON being sent to the first reading of off.
        """
        return self.pending.on_s

    def take_reading(self, sample: Sample, opened: Activation) -> None:
        """Report a reading of the load current to `on_status`, then check it.

        Raises ExcessiveOutput when far more flows than was asked for; see
        `Activation.note_current`.
        """
        self.report(
            "on",
            self.target_band,
            age_s=sample.age_s,
            left_s=opened.left_s,
            current_ma=sample.current_ma,
        )
        opened.note_current(sample.current_ma)

    def note_window(self, taken: Sequence[Sample]) -> None:
        """Put on record where readings of a rested activation contradict the meter's window."""
        if words := self._window.finding(taken):
            self._remark(words)

    def note_droop(self, taken: Sequence[Sample], at_age_s: float) -> None:
        """Put on record where readings, with no move among them, contradict the stated droop.

        `at_age_s`: age at which values are asked for. Rests are not shortened by it any more.
        """
        if words := self._droop.finding(taken, at_age_s):
            self.warmth.shortens_rests = False
            self._remark(words)

    def note_window_by_moves(self, record: ActivationRecord) -> None:
        """Put on record where readings followed moves too soon for the meter's window."""
        if words := self._window.finding_by_moves(record):
            self._remark(words)

    def _remark(self, words: str) -> None:
        """Put on record what this program itself has to tell."""
        self.pending.add(Commented(**self.stamp(), words=words, told_by=PROGRAM))

    def show_cue(self, cue: Cue | None) -> None:
        """Tell the person at the keys what to do now; None ends the coaching."""
        self.cue = cue
        if cue is not None:
            self.bench.operator.cue(cue)
        if self.bench.rf.shown in ("off", "not proved"):  # else the next reading tells
            self.report_rf_state()

    def report_rf_state(self) -> None:
        """Report to `on_status` how RF was read last."""
        self.report(self.bench.rf.shown, read_ago_s=self.bench.rf.read_ago_s)

    def report(
        self,
        rf: RfState,
        target_band: TargetBand | None = None,
        *,
        read_ago_s: float = 0.0,
        rest_left_s: float | None = None,
        age_s: float | None = None,
        left_s: float | None = None,
        current_ma: float | None = None,
    ) -> None:
        """Report RF as it is now to `on_status`, with the figures that belong to it."""
        if self.on_status is ignore_status:  # as in a rehearsal, with every reading
            return
        analyzer = self.bench.analyzer
        self.on_status(
            analyzer.status(rf, self.bench.clock.now_s())._replace(
                read_ago_s=read_ago_s,
                rest_left_s=rest_left_s,
                age_s=age_s,
                left_s=left_s,
                current_ma=current_ma,
                aim=target_band,
                on_s=self.pending.on_s,
                on_at_s=self.pending.on_at_s,
                cue=self.cue,
            )
        )

    def point_done(
        self,
        result: Result,
        path: InputPath | Literal["none"],
        mode: str | None = None,
        setting_w: float | None = None,
    ) -> PointDone:
        """Return the event of a finished point.

        Its result is completed by mode, setting and input path, by who set them, and by the
        calibration that its uncertainty rests on. `setting_w` is None in service mode, which has a
        setting of its own.
        """
        rests_on = "none" if result.measured is None else result.traceability or self.traceability
        completed = result.model_copy(
            update={
                "mode": mode,
                "setting_w": setting_w,
                "setting_told_by": None if mode is None else self.told_by,
                "path": path,
                "path_told_by": None if path == "none" else self.input.told_by,
                **self._analyzer_told_by(result, path),
                "traceability": rests_on,
            }
        )
        return PointDone(**self.stamp(), result=completed)

    def _analyzer_told_by(
        self, result: Result, path: InputPath | Literal["none"]
    ) -> dict[str, str | None]:
        """Return who did the analyzer's part, by fields of a result; none where RF had no part."""
        if path == "none" or result.load_ohm is None:
            return {}
        bench = self.bench
        return {
            "load_told_by": bench.operator.name if "load" in bench.analyzer.by_hand else None,
            "readings_told_by": bench.readings_told_by,
            "keyed_by": bench.keyed_by,
        }

    @property
    def bench_time_s(self) -> float:
        """Time since this session was begun, in seconds of the bench's clock."""
        return self.bench.clock.now_s() - self.started_s

    @property
    def traceability(self) -> Traceability | Literal["none"]:
        """The analyzer's calibration that uncertainties rest on; "none" without a certificate."""
        known = self.accuracy
        return "none" if known is None else known.certificate.traceability(known.on)

    @asynccontextmanager
    async def activation(
        self, *, load_ohm: float, power_w: float, limit_s: float
    ) -> AsyncIterator[Activation]:
        """Switch RF on for the length of the block; see `ohmwright.engine.activation`.

        The time on is counted, and the warmth and duty that it costs are kept for the next rest.
        After a warning that RF may be on a person is asked first: Interjection, OffNotProved.
        """
        await refuse_unless_all_clear(self.bench)
        clock = self.bench.clock
        before_s = clock.now_s()
        opened: Activation | None = None
        self.pending.on_at_s = before_s
        self.report("coming on", self.target_band, read_ago_s=self.bench.rf.read_ago_s)
        try:
            async with activation(
                self.bench, load_ohm=load_ohm, power_w=power_w, limit_s=limit_s
            ) as opened:
                before_s = self.pending.on_at_s = clock.now_s() - opened.age_s
                self.report("on", self.target_band, age_s=opened.age_s, left_s=opened.left_s)
                try:
                    yield opened
                finally:
                    self.report("going off")
        finally:
            off_s = latest_off_s(self.bench, before_s, limit_s, opened)
            sent_s = before_s if opened is None else opened.began_s
            self.last_on_at_s, self.last_on_s = sent_s, most_on_s(self.bench, sent_s, off_s)
            self.pending.on_s += self.last_on_s
            read_off_s = sent_s + self.last_on_s
            is_off = self.bench.rf.state == "off"
            self.pending.on_at_s = None if is_off else read_off_s
            seen_w = None if opened is None else opened.largest_power_w
            self.warmth.add_activation(sent_s, read_off_s, power_w if seen_w is None else seen_w)
            self.report_rf_state()
            if opened is not None and opened.release is not None:
                slow = slow_release(self.bench, opened.release, self.stamp())
                if slow is not None:
                    self.pending.add(slow)
