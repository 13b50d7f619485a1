"""Failures struck at drawn instants of an activation, on simulated benches in real time.

A bench's control port tells the truth; its clock and ours are the machine's own, so the time from
the failure to RF off is exact. Every other trial is on TCP, the rest on pseudo-terminals.
"""

from __future__ import annotations

import os
import shlex
import signal
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, suppress
from dataclasses import asdict, dataclass
from math import ceil
from pathlib import Path
from queue import SimpleQueue
from random import Random
from typing import Any

from .kill_bench import HANG_S, KillBench, kill_bench
from .row import Row

SILENCE_S = 1.7
"""What the guard of this bench allows: a query's time-out, two readings, half a second."""
LIMIT_PROOF, MEASUREMENT = 2, 4
"""Which activation of a run that is; OFF is proved in the first."""
KINDS = ("tcp", "pty")
_AT_ONCE_REDUCED = 2
"""Starting a bench costs as much as two trials."""
_TRIES_REDUCED = 6
"""Beside a suite that keeps all cores busy one trial may be late; six in a row are a defect."""
_Benches = dict[str, "SimpleQueue[KillBench]"]


@dataclass(frozen=True)
class Trial:
    """One failure."""

    way: str
    seed: int
    number: int

    @property
    def kind(self) -> str:
        """What its bench is served on."""
        return KINDS[self.number % 2]

    @property
    def draw(self) -> Random:
        """Its own random numbers, from the first on."""
        return Random(f"{self.seed} {self.way} {self.number}")


@dataclass
class Outcome:
    """What came of it."""

    after_s: float | None = None
    """From the failure to RF off; None: left on."""
    left_on: bool = True
    wrong: bool = False
    undetected: bool = False
    hang: bool = False
    how: str = ""

    @property
    def late(self) -> bool:
        """Whether RF went off, but later than its bound."""
        return self.left_on and self.after_s is not None

    @property
    def bad(self) -> bool:
        """Whether a rule did not hold."""
        return self.left_on or self.wrong or self.undetected or self.hang


class NeverOnError(Exception):
    """A run that did not come to the activation in which it was to fail."""


@dataclass(frozen=True)
class Part:
    """A part of the harness that fails a run in each of its `ways`."""

    name: str
    ways: tuple[str, ...]
    each: int
    each_reduced: int
    fail: Callable[[KillBench, Trial], Outcome]
    """Begin a run, let it fail, and judge what it left behind."""
    titled: Callable[[str], str]
    """The name of a way's row."""
    noted: Callable[[str, Sequence[float]], str]
    """What a way's row says of the times from failure to RF off, in s."""

    def rows(self, seed: int, reduced: bool, *, jobs: int = 1, mutate: str = "") -> Iterator[Row]:
        """One row for each way, `jobs` benches at a time."""
        each = self.each_reduced if reduced else self.each
        tries = _TRIES_REDUCED if reduced else 1
        jobs = min(jobs, _AT_ONCE_REDUCED) if reduced else jobs
        trials = {way: [Trial(way, seed, number) for number in range(each)] for way in self.ways}
        kinds = sorted({trial.kind for of_way in trials.values() for trial in of_way})
        with ExitStack() as stack:
            served = _benches(stack, kinds, ceil(jobs / len(kinds)), mutate)
            pool = stack.enter_context(ThreadPoolExecutor(jobs))
            stack.callback(pool.shutdown, cancel_futures=True)
            begun = {
                way: [pool.submit(self._tried, served, trial, tries) for trial in of_way]
                for way, of_way in trials.items()
            }
            for way, of_way in trials.items():
                yield self._row(way, of_way, [future.result() for future in begun[way]])

    def replay(self, trial: Trial, *, mutate: str = "") -> dict[str, Any]:
        """One failure again."""
        with ExitStack() as stack:
            return asdict(self._tried(_benches(stack, (trial.kind,), 1, mutate), trial))

    def _tried(self, served: _Benches, trial: Trial, tries: int = 1) -> Outcome:
        outcome = self._failed(served, trial)
        return self._tried(served, trial, tries - 1) if outcome.late and tries > 1 else outcome

    def _failed(self, served: _Benches, trial: Trial) -> Outcome:
        bench = served[trial.kind].get()
        try:
            return self.fail(bench, trial)
        except NeverOnError as never:
            return Outcome(left_on=False, hang=True, how=str(never))
        finally:
            served[trial.kind].put(bench)

    def _row(self, way: str, trials: list[Trial], outcomes: list[Outcome]) -> Row:
        times_s = [outcome.after_s for outcome in outcomes if outcome.after_s is not None]
        return Row(
            self.titled(way),
            len(trials),
            sum(outcome.left_on for outcome in outcomes),
            sum(outcome.wrong for outcome in outcomes),
            sum(outcome.undetected for outcome in outcomes),
            sum(outcome.hang for outcome in outcomes),
            self.noted(way, times_s),
            tuple(
                f"python scripts/faults --replay {shlex.quote(self._spec(trial))}  # {outcome.how}"
                for trial, outcome in zip(trials, outcomes, strict=True)
                if outcome.bad
            ),
        )

    def _spec(self, trial: Trial) -> str:
        return f"{self.name}/{trial.way}/{trial.seed}/{trial.number}"


def begin(bench: KillBench, activation: int) -> int:
    """Begin a run; its process number once RF is on in that activation. Raises NeverOnError."""
    wanted, pid = bench.truth.begun() + activation, bench.start()
    if not _began(bench, wanted, pid):
        with suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)
        code = bench.engines.ended()
        raise NeverOnError(f"never on, exit code {code}: {bench.engines.said()}")
    return pid


def _began(bench: KillBench, wanted: int, pid: int) -> bool:
    """Whether that activation began before the run ended, or hung."""
    end_s = time.monotonic() + HANG_S
    while time.monotonic() < end_s:
        if bench.truth.wait_begun(wanted, 1.0):
            return True
        if not _lives(pid):
            return False
    return False


def children(pid: int) -> list[int]:
    """The processes that `pid` has started: its guard."""
    listed = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    return [int(child) for child in listed]


def gone(pids: list[int]) -> bool:
    """Whether all of them end in time: until then they hold the ports."""
    end_s = time.monotonic() + HANG_S
    while any(map(_lives, pids)):
        if time.monotonic() > end_s:
            return False
        time.sleep(0.02)
    return True


def _lives(pid: int) -> bool:
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return False
    return state not in "ZX"


def _benches(stack: ExitStack, kinds: Sequence[str], of_each: int, mutate: str) -> _Benches:
    folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
    begun = [
        (kind, stack.enter_context(kill_bench(folder / f"{kind}{number}", kind, mutate)))
        for kind in kinds
        for number in range(of_each)
    ]
    served: _Benches = {kind: SimpleQueue() for kind in kinds}
    for kind, bench in begun:
        bench.engines.ready()
        served[kind].put(bench)
    return served
