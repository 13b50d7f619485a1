"""A pure picture of a run while it goes on, fed by its events and the status of its bench.

Nothing is awaited or drawn here, and nothing grows with the length of a run: a face asks for a
`RunPicture` as often as it likes, from any thread, and shows that.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Iterable, Iterator, Sequence
from itertools import takewhile

from ohmwright.engine.job import Job
from ohmwright.engine.run_so_far import on_time_s
from ohmwright.engine.stage import PointKey
from ohmwright.instruments.requests import Request
from ohmwright.model.bench_file import Asset
from ohmwright.model.bench_status import BenchStatus
from ohmwright.model.cue import Cue
from ohmwright.model.event import (
    ActivationOpened,
    Event,
    Fault,
    PointDone,
    RunFinished,
    RunResumed,
    RunStarted,
    StageStarted,
    StepStarted,
    UnitIdentified,
)
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.model.result import Result, Verdict
from ohmwright.reports.verdict_grounds import qualification, said_verdict

from .kept_results import KeptResults
from .plan_progress import PlanProgress
from .reading_picture import (
    band_picture,
    current_ma_now,
    movement_in,
    reading_digits,
    reading_note,
)
from .rf_words import rf_picture
from .run_notices import notices_of, passing_notices_of
from .run_picture import (
    Notice,
    RequestPicture,
    RunPicture,
    RunState,
    TrendPoint,
    cue_picture,
    request_picture,
    result_picture,
    told_of_rf,
)
from .run_plan import PlannedPoint, paced_points, planned_points

TREND_S, TREND_READINGS = 60.0, 1200
"""Length of the trend, and the most readings that are kept of it."""
RESULTS_KEPT = 500
"""Most results in a picture: more than a procedure has; a long sweep has thousands."""
NOTICES_KEPT = 20


class RunWatch:
    """Follows one run; `picture` shows it at any moment. `watch_of` makes it for a job.

    `plan`: its points in order; without them, points done, what comes next and the time left are
    not known. `earlier`: the events so far of a run that is resumed, and `finished`: the points of
    them that are not measured again.
    """

    def __init__(
        self,
        plan: Sequence[PlannedPoint] = (),
        earlier: Sequence[Event] = (),
        finished: Iterable[PointKey] = (),
    ) -> None:
        self._progress = PlanProgress(plan, finished)
        self._state: RunState = "not begun"
        self._started: RunStarted | None = None
        self._is_identified = False
        self._operator = ""
        self._load_ohm: float | None = None
        self._moment: BenchStatus | None = None
        self._cue: Cue | None = None
        self._trend: deque[tuple[float, float]] = deque(maxlen=TREND_READINGS)
        self._request: RequestPicture | None = None
        self._requests = 0
        self._before_s = on_time_s(earlier)
        self.results = KeptResults(RESULTS_KEPT)
        self._latest: dict[PointKey, Result] = {}
        """Without their readings: those of a long run are many."""
        self._notices: deque[Notice] = deque(maxlen=NOTICES_KEPT)
        self._told: tuple[Notice, ...] = ()
        """What a person was told to do, or to know, at once, and what holds still."""
        self._verdict: Verdict | None = None
        self._verdict_qualified = ""
        for event in earlier:
            self._take_earlier(event)

    @property
    def moment(self) -> BenchStatus | None:
        """The latest status; None before the first."""
        return self._moment

    def may_show_serial(self, registered: RegisteredAsset | None) -> bool:
        """Whether the serial number of a run's unit may be shown.

        It is shown of no registered unit before that is known to be the one: whoever is asked to
        read the number from the plate must not see it.
        """
        return registered is None or self._is_identified

    @property
    def has_finished(self) -> bool:
        """Whether the run has come to its own end."""
        return self._state == "finished"

    def on_status(self, moment: BenchStatus) -> None:
        """Keep the latest status; returns at once."""
        if self._moment is not None and moment.on_s < self._moment.on_s:  # of a new part
            self._before_s += self._moment.on_s
        self._moment, self._cue = moment, moment.cue
        if moment.rf == "coming on":  # what was told of the activation before is over
            self._told = ()
        if moment.rf == "on" and moment.current_ma is not None:
            self._trend.append((moment.bench_s, moment.current_ma))

    def on_cue(self, cue: Cue) -> None:
        """Keep a cue before the next status brings it: with RF off that may take a while."""
        self._cue = cue

    def on_event(self, event: Event) -> None:
        """Take an event of the run; returns at once."""
        match event:
            case RunStarted() | RunResumed():
                self._begin(event)
            case UnitIdentified():
                self._is_identified = True
            case StageStarted():
                self._progress.begin_stage(event.stage)
                self._load_ohm = None
            case StepStarted():
                self._progress.begin_step(event.stage, event.step)
                self._load_ohm = None
            case ActivationOpened():
                self._load_ohm = event.load_ohm
            case PointDone():
                self._progress.point_done(self._keep(event.result), event.bench_s)
            case RunFinished():
                self._state, self._verdict = "finished", event.verdict
                self._verdict_qualified = qualification(self._latest.values())
            case Fault():
                self._state = "ended early"
        for urgency, words in notices_of(event):
            self._notices.append(Notice(bench_s=event.bench_s, urgency=urgency, words=words))
        for urgency, words in passing_notices_of(event):
            self._tell(Notice(bench_s=event.bench_s, urgency=urgency, words=words))

    def notify(self, words: str, now_s: float) -> None:
        """Keep what a person is told at once, until it is taken back or RF is keyed again."""
        self.take_back(words)
        self._tell(Notice(bench_s=now_s, urgency="alarm", words=words))

    def take_back(self, words: str) -> None:
        """Drop what a person was told: it is done."""
        self._told = tuple(told for told in self._told if told.words != words)

    @property
    def orders(self) -> tuple[str, ...]:
        """What a person was told at once and that was not taken back, oldest first."""
        return tuple(told.words for told in self._told if told.urgency == "alarm")

    def open_request(self, request: Request, problem: str, *, by_foot: bool) -> RequestPicture:
        """Keep a request that waits for its answer from now on; return it as data.

        `by_foot`: whether whoever answers it keys RF by a foot switch.
        """
        self._requests += 1
        self._request = request_picture(request, problem, self._requests, by_foot=by_foot)
        return self._request

    def hold(self, bench_s: float) -> None:
        """Have no time run down while somebody is asked."""
        self._progress.pace.hold(bench_s)

    def go_on(self, bench_s: float) -> None:
        """Have time run down again."""
        self._progress.pace.go_on(bench_s)

    def close_request(self) -> None:
        """Keep that no request waits."""
        self._request = None

    def picture(self, now_s: float) -> RunPicture:
        """Return the run at `now_s`, in seconds of the bench's clock."""
        return self._picture(now_s, tuple(self._last_minute(now_s)))

    def picture_without_trend(self, now_s: float) -> RunPicture:
        """Return the same with an empty trend, for a face that keeps the readings itself."""
        return self._picture(now_s, ())

    def _picture(self, now_s: float, trend: tuple[TrendPoint, ...]) -> RunPicture:
        moment, started = self._moment, self._started
        rf, current_ma = rf_picture(moment, now_s), current_ma_now(moment, now_s)
        progress, pace = self._progress, self._progress.pace
        missing = progress.missing()
        here, going_on = progress.here(missing), self._state == "going on"
        aim = None if moment is None else moment.aim
        return RunPicture(
            now_s=now_s,
            state=self._state,
            run_id="" if started is None else started.run_id,
            unit="" if started is None else self._unit_words(started),
            procedure=""
            if started is None
            else f"{started.procedure}, revision {started.revision}",
            operator=self._operator,
            bench="" if started is None else started.bench,
            stage=progress.stage,
            step=progress.step,
            point="" if here is None else here.point,
            mode=None if here is None else here.mode,
            setting_w=None if here is None else here.setting_w,
            load_ohm=self._load_ohm if here is None or here.load_ohm is None else here.load_ohm,
            rf=rf,
            current_ma=current_ma,
            reading=reading_digits(current_ma, None if moment is None else moment.digit_ma),
            reading_note=reading_note(
                moment, current_ma, now_s, somebody_is_asked=self._request is not None
            ),
            band=None
            if aim is None
            else band_picture(aim, current_ma, movement_in(aim, self._of_activation())),
            trend=trend,
            cue=cue_picture(self._cue),
            request=None if self._request is None else told_of_rf(self._request, rf),
            comes_next=progress.comes_next(missing) if going_on else "",
            points_done=progress.points_done,
            points_total=progress.points_total,
            left_s=pace.left_s(missing, now_s) if going_on else None,
            left_words=pace.left_words(missing, now_s) if going_on else "",
            on_s=self._before_s + _on_s(moment, now_s),
            verdicts=dict(
                Counter(said_verdict(one.verdict, (one,)) for one in tuple(self._latest.values()))
            ),
            results=self.results.all,
            notices=(*self._notices, *self._told)[-NOTICES_KEPT:],
            verdict=self._verdict,
            verdict_qualified=self._verdict_qualified,
        )

    def _tell(self, notice: Notice) -> None:
        self._told = (*self._told, notice)[-NOTICES_KEPT:]

    def _begin(self, event: RunStarted | RunResumed) -> None:
        self._state, self._operator, self._is_identified = "going on", event.operator, False
        if isinstance(event, RunStarted):
            self._started = event
        self._progress.pace.begin(event.bench_s)

    def _unit_words(self, started: RunStarted) -> str:
        """Return maker, model, serial number where it may be shown, and inventory number."""
        words = unit_words(started.asset, with_serial=self.may_show_serial(started.registered))
        return f"{words}, {started.asset.id}"

    def _keep(self, result: Result) -> PointKey:
        key: PointKey = result.stage, result.step, result.point
        self._latest[key] = result.model_copy(update={"samples": ()})
        self.results.keep(key, result_picture(result))
        return key

    def _take_earlier(self, event: Event) -> None:
        """Take from an earlier part of the run what still holds: the unit, and results."""
        if isinstance(event, RunStarted):
            self._started, self._operator = event, event.operator
        elif isinstance(event, PointDone):
            self._keep(event.result)

    def _of_activation(self) -> list[tuple[float, float]]:
        """Return the readings since RF came on, newest first."""
        moment, newest_first = self._moment, reversed(tuple(self._trend))
        if moment is None or moment.age_s is None:
            return []
        begun_s = moment.bench_s - moment.age_s
        return [*takewhile(lambda reading: reading[0] >= begun_s, newest_first)]

    def _last_minute(self, now_s: float) -> Iterator[TrendPoint]:
        # copied whole, in one step of the interpreter: another thread may be adding to it
        for bench_s, current_ma in tuple(self._trend):
            if bench_s >= now_s - TREND_S:
                yield TrendPoint(bench_s=bench_s, current_ma=current_ma)


def watch_of(
    job: Job, point_s: Sequence[float] | None = None, *, by_hand: bool = False
) -> RunWatch:
    """Return what follows the run of `job`, with what earlier parts of it found.

    `point_s`: the bench time that each point will take, where more is known of it than the times of
    the procedure; `by_hand`: whether a person works the keys of the unit.
    """
    plan = planned_points(job.file.procedure, job.stages, by_hand=by_hand)
    if point_s is not None:
        plan = paced_points(plan, point_s)
    return RunWatch(plan, job.earlier, job.finished_points())


def unit_words(asset: Asset, *, with_serial: bool) -> str:
    """Return maker and model of a unit, and its serial number."""
    serial = f", serial {asset.serial}" if with_serial else ""
    return f"{asset.maker} {asset.model}{serial}"


def _on_s(moment: BenchStatus | None, now_s: float) -> float:
    """Return how long RF was on at most in this part of the run; it may be on until read as off."""
    if moment is None or moment.on_at_s is None:
        return 0.0 if moment is None else moment.on_s
    return moment.on_s + max(0.0, now_s - moment.on_at_s)
