"""The command `practise`: an invented unit's keys on the keyboard, coached as at a real bench."""

from __future__ import annotations

from contextlib import aclosing
from dataclasses import dataclass

import anyio

from ohmwright.api.debrief import Debrief, Effort
from ohmwright.api.practice import (
    PracticeBench,
    by_port,
    by_practised_person,
    open_practice_bench,
    practice_bench,
    practice_job,
)
from ohmwright.api.run_picture import ResultPicture, result_picture
from ohmwright.api.run_view import watch_of
from ohmwright.engine.job import Job
from ohmwright.engine.run import run
from ohmwright.engine.run_so_far import results
from ohmwright.model.base import FrozenModel
from ohmwright.model.errors import UsageError
from ohmwright.model.event import Event, RunFinished
from ohmwright.wire.clock import RunningClock

from .console import err, out, print_json
from .debrief_table import print_debrief
from .learner import Learner
from .live import showing
from .run_report import exit_code
from .signals import cancel_on_signal
from .sound.sounding import Hearing, Sounds, sounding
from .stop_key import own_terminal

_NOTHING_DONE = 4


@dataclass(frozen=True)
class Practice:
    """What is practised."""

    seed: int
    """Which invented unit."""
    points: int
    """How many of its points are adjusted."""
    hearing: Hearing
    quick_rests: bool
    as_json: bool


class PracticeReport(FrozenModel):
    """What a practice came to, as `--json` prints it."""

    seed: int
    results: tuple[ResultPicture, ...]
    debrief: Debrief
    by_port: Effort | None
    """The same unit with its trims moved by port; None where the practice was stopped."""


def practise(wanted: Practice) -> int:
    """Let a person adjust an invented unit, say how it went, return the exit code of the run.

    Raises UsageError where there is no terminal whose keys can be read one by one.
    """
    if not (own_terminal() and err().is_terminal):
        raise UsageError(
            "To practise needs a terminal whose keys can be read one by one.",
            "A pipe, a background job and the console of Windows are none.",
            "Run it in a terminal in the foreground.",
        )
    job = practice_job(wanted.points)
    with sounding(wanted.hearing) as sounds:
        events, opened = anyio.run(_practised, wanted, job, sounds)
    report = _report(wanted.seed, job, events, opened)
    if wanted.as_json:
        print_json(report.model_dump())
    else:
        _tell(report)
    return exit_code(tuple(events)) if events else _NOTHING_DONE


async def _practised(
    wanted: Practice, job: Job, sounds: Sounds
) -> tuple[list[Event], PracticeBench]:
    clock = RunningClock()
    opened = open_practice_bench(
        practice_bench(wanted.seed),
        clock,
        lambda panel: Learner(panel, clock, sounds, quick_rests=wanted.quick_rests),
    )
    learner = opened.person.person
    assert isinstance(learner, Learner)
    learner.view.watch = watch_of(job, by_hand=True)
    events: list[Event] = []
    with showing(learner.view, opened.bench), cancel_on_signal():
        async with aclosing(run(job, opened.bench, learner.on_status)) as happening:
            async for event in happening:
                events.append(event)
                learner.on_event(event)
    return events, opened


def _report(seed: int, job: Job, events: list[Event], opened: PracticeBench) -> PracticeReport:
    """Return what it came to, beside others on the same unit where it was not stopped."""
    debrief, port = opened.debrief(), None
    if events and isinstance(events[-1], RunFinished):
        data = practice_bench(seed)
        practised = anyio.run(by_practised_person, data, job)
        debrief = debrief.model_copy(update={"practised": practised})
        port = anyio.run(by_port, data, job)
    found = tuple(result_picture(result) for result in results(tuple(events)))
    return PracticeReport(seed=seed, results=found, debrief=debrief, by_port=port)


def _tell(report: PracticeReport) -> None:
    """Print each point, each slip, and what it took beside others on the same unit."""
    for result in report.results:
        value = "" if result.value is None else f", {result.value:.1f} {result.unit}"
        reason = f" ({result.reason})" if result.reason else ""
        out().print(f"{result.point}: {result.verdict}{value}{reason}", soft_wrap=True)
    print_debrief(report.debrief, report.by_port)
    out().print("Practice on an invented unit: nothing of it is kept.")
