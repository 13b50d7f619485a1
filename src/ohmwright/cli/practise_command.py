"""The command `practise`: an invented unit's keys on the keyboard, coached as at a real bench."""

from __future__ import annotations

from contextlib import aclosing
from dataclasses import dataclass

import anyio

from ohmwright.api.practice import (
    open_practice_bench,
    practice_job,
    same_unit_by_port,
)
from ohmwright.api.run_pace import duration
from ohmwright.api.run_view import watch_of
from ohmwright.engine.run import Job, results, run
from ohmwright.instruments.bench import Bench
from ohmwright.model.errors import UsageError
from ohmwright.model.event import Event, RunFinished
from ohmwright.simulator.bench import SimulatedBench

from .console import err, out
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


@dataclass(frozen=True)
class HowItWent:
    """What a practice, or the same unit's adjustment by port, came to."""

    events: tuple[Event, ...]
    rf_on_s: float
    """By the simulator's truth."""
    bench_s: float
    presses: int
    slips_noticed: int = 0


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
        went = anyio.run(_practised, wanted, job, sounds)
    finished = bool(went.events) and isinstance(went.events[-1], RunFinished)
    _tell(went, anyio.run(_by_port, wanted.seed, job) if finished else None)
    return exit_code(went.events) if went.events else _NOTHING_DONE


async def _practised(wanted: Practice, job: Job, sounds: Sounds) -> HowItWent:
    opened = open_practice_bench(
        wanted.seed,
        lambda panel, clock: Learner(panel, clock, sounds, quick_rests=wanted.quick_rests),
    )
    learner = opened.bench.operator
    assert isinstance(learner, Learner)
    learner.view.watch = watch_of(job)
    events: list[Event] = []
    with showing(learner.view, opened.bench), cancel_on_signal():
        async with aclosing(run(job, opened.bench, learner.on_status)) as happening:
            async for event in happening:
                events.append(event)
                learner.on_event(event)
    return _came_to(opened.bench, opened.hardware, events, learner.slips_noticed)


async def _by_port(seed: int, job: Job) -> HowItWent:
    """Adjust the same unit by port, in virtual time."""
    bench, hardware = same_unit_by_port(seed)
    events = [event async for event in run(job, bench)]
    return _came_to(bench, hardware, events)


def _came_to(
    bench: Bench, hardware: SimulatedBench, events: list[Event], slips_noticed: int = 0
) -> HowItWent:
    truth = hardware.truth
    bench_s = bench.clock.now_s() - events[0].bench_s if events else 0.0
    return HowItWent(tuple(events), truth.rf_on_s, bench_s, truth.presses, slips_noticed)


def _tell(went: HowItWent, by_port: HowItWent | None) -> None:
    """Print each point, what it took, and what the same unit took by port."""
    for result in results(went.events):
        value = "" if result.measured is None else f", {result.measured.value:.1f} mA"
        reason = f" ({result.reason})" if result.reason else ""
        out().print(f"{result.point}: {result.verdict}{value}{reason}", soft_wrap=True)
    out().print(
        f"You: {went.presses} presses, RF on for {went.rf_on_s:.0f} s, "
        f"{duration(went.bench_s)} at the bench. Wrong presses noticed: {went.slips_noticed}.",
        soft_wrap=True,
    )
    if by_port is not None:
        out().print(
            f"The same unit by port: RF on for {by_port.rf_on_s:.0f} s, "
            f"{duration(by_port.bench_s)} at the bench.",
            soft_wrap=True,
        )
    out().print("Practice on an invented unit: nothing of it is kept.")
