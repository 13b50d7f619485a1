"""What a run looks like at one moment, as data for any face: terminal, browser page, program.

Times are seconds of the bench's clock. `model_dump_json` gives what a page's stream of events
carries.
"""

from __future__ import annotations

from typing import Literal

from ohmwright.instruments.hand_requests import rf_comes_on_after
from ohmwright.instruments.operator import beside_its_own
from ohmwright.instruments.requests import Request, ValueRequest
from ohmwright.model.base import FrozenModel
from ohmwright.model.cue import Cue, CueKind
from ohmwright.model.quantity import unit_of
from ohmwright.model.result import Result, Verdict
from ohmwright.model.step import Stage
from ohmwright.reports.measuring_conditions import trim_text
from ohmwright.reports.text import limits_words
from ohmwright.reports.verdict_grounds import ground_of, said_verdict

from .reading_picture import BandPicture
from .rf_words import RfPicture, Urgency, rf_at_request

RunState = Literal["not begun", "going on", "finished", "ended early"]

STAGE_WORDS: dict[Stage, str] = {
    "as_found": "as found",
    "adjust": "adjustment",
    "as_left": "as left",
}


class CuePicture(FrozenModel):
    """What the person at the keys is told now; see `ohmwright.model.cue`."""

    kind: CueKind
    words: str
    key: str
    direction: str
    presses: int
    """How many presses are still to be done."""
    seen: str


def cue_picture(cue: Cue | None) -> CuePicture | None:
    """Return `cue` as named fields."""
    return None if cue is None else CuePicture(**cue._asdict())


class AnswerPicture(FrozenModel):
    """One answer that a request accepts: the word, a key that stands for it, what it says."""

    word: str
    key: str
    meaning: str


class RequestPicture(FrozenModel):
    """A request that waits for its answer."""

    number: int
    """Counts the requests of a run, so that an answer can name the one that it belongs to."""
    text: str
    answers: tuple[AnswerPicture, ...]
    """Its own answers."""
    also: tuple[str, ...]
    """What it accepts beside them, as `skip REASON`."""
    how_to_answer: str = ""
    """The forms of a value that is asked for; empty where one of the answers is."""
    problem: str = ""
    """Why the answer before was not accepted."""
    rf_follows: bool
    """Whether RF comes on after the answer without another request."""
    by_foot: bool
    """Whether a person keys RF by a foot switch; else the program does."""
    rf_words: str = ""
    """What is to be said of RF now, beside the request; see `rf_words.rf_at_request`."""


def request_picture(
    request: Request, problem: str, number: int, *, by_foot: bool
) -> RequestPicture:
    """Return `request` as data; `problem`: why the last answer was not accepted, or empty."""
    how = request.how_to_answer if isinstance(request, ValueRequest) else ""
    return RequestPicture(
        number=number,
        text=request.text,
        answers=tuple(AnswerPicture(**vars(answer)) for answer in request.answers),
        also=beside_its_own(request),
        how_to_answer=how,
        problem=problem,
        rf_follows=rf_comes_on_after(request, by_foot=by_foot),
        by_foot=by_foot,
    )


def told_of_rf(request: RequestPicture, rf: RfPicture) -> RequestPicture:
    """Return `request` with what is to be said of RF while it was read as `rf`."""
    words = rf_at_request(
        rf.state,
        follows=request.rf_follows,
        by_foot=request.by_foot,
        in_activation=request.by_foot or rf.age_s is not None,
    )
    return request.model_copy(update={"rf_words": words})


class ResultPicture(FrozenModel):
    """The result of one point, without its budget and readings."""

    stage: Stage
    step: str
    point: str
    verdict: str
    """Of a value without limits that it is measured."""
    ground: str
    """How that is to be qualified, as by what the value rests on; empty where it is not."""
    value: float | None
    """In `unit`; None where nothing was measured."""
    expanded: float | None
    """Expanded uncertainty, in `unit`."""
    limits: str
    """In words, with their unit, as tables of the terminal have them; empty without limits."""
    unit: str
    """Of value and uncertainty; empty for a number without a unit."""
    reason: str
    said: str
    """What was answered, where that is the result; empty where something was measured."""
    trim: str
    """From where to where the trim of an adjusted point was moved, in counts; empty for others."""


def result_picture(result: Result) -> ResultPicture:
    """Return what a list of results shows of one."""
    measured, target = result.measured, result.target
    return ResultPicture(
        stage=result.stage,
        step=result.step,
        point=result.point,
        verdict=said_verdict(result.verdict, (result,)),
        ground="" if measured is None else ground_of(result),
        value=None if measured is None else measured.value,
        expanded=None if measured is None else measured.expanded,
        limits="" if target is None else limits_words(target),
        unit=_unit(result),
        reason=result.reason,
        said=result.said if measured is None else "",
        trim=trim_text(result),
    )


def _unit(result: Result) -> str:
    """Return the unit of a value; one without limits has it, too."""
    if result.target is not None:
        return result.target.unit
    quantity = None if result.measured is None else result.measured.quantity
    return "" if quantity is None else unit_of(quantity).symbol


class Notice(FrozenModel):
    """Something that a person should know of a run; it asks for no answer."""

    bench_s: float
    urgency: Urgency
    words: str


class TrendPoint(FrozenModel):
    """One reading of the last minute."""

    bench_s: float
    current_ma: float


class RunPicture(FrozenModel):
    """A run at the moment `now_s` of its bench's clock."""

    now_s: float
    state: RunState
    run_id: str
    unit: str
    """Maker, model, serial number and inventory number of the unit under test."""
    procedure: str
    """Title and revision."""
    operator: str
    bench: str
    stage: Stage | None
    step: str
    point: str
    """The point that is measured or adjusted now; empty where the step has none."""
    mode: str | None
    setting_w: float | None
    load_ohm: float | None
    rf: RfPicture
    current_ma: float | None
    """The reading of a moment ago, or what was typed last; None where an instrument's last one is
    older, or RF is off."""
    reading: str
    """The same with the digits that the meter has; empty where there is none."""
    reading_note: str
    """How long ago the reading was typed, or that it is asked for soon; empty where an instrument
    reads."""
    band: BandPicture | None
    """Target and limits for the reading; None where it has none."""
    trend: tuple[TrendPoint, ...]
    """The readings of the last minute, oldest first, of at most `run_view.TREND_READINGS`."""
    cue: CuePicture | None
    request: RequestPicture | None
    """The request that waits for its answer; None where none does."""
    comes_next: str
    """What follows on the present point, as a clause; empty before a run and after it."""
    points_done: int
    points_total: int
    left_s: float | None
    """Estimated bench time until the unit is done; None before the run and after it."""
    left_words: str
    """The same as a clause, such as `about 12 min left`; empty where it is None. It also says that
    the present point takes longer than foreseen, so that its end is not known."""
    on_s: float
    """How long RF was on so far at most, in seconds, with an activation that is under way."""
    verdicts: dict[str, int]
    """How many points have which verdict, each by its latest result."""
    results: tuple[ResultPicture, ...]
    """The latest results, in order, at most `run_view.RESULTS_KEPT`."""
    notices: tuple[Notice, ...]
    """The latest faults and remarks, oldest first, then what was told at once and holds still; at
    most `run_view.NOTICES_KEPT`."""
    verdict: Verdict | None
    """Of the whole run; None before its end."""
    verdict_qualified: str
    """How that is to be qualified; empty where it is not, and before the end."""

    @property
    def place(self) -> str:
        """Where the run is, in one line: stage, step, load."""
        if self.stage is None:
            return ""
        load = "" if self.load_ohm is None else f", {self.load_ohm:g} ohm"
        return f"{STAGE_WORDS[self.stage]}: {self.step}{load}"
