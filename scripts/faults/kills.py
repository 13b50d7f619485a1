"""The engine killed at random instants of an activation, on simulated benches in real time.

A bench's control port tells the truth; its clock and ours are the machine's own, so the time
from the kill to RF off is exact. Every other kill is on TCP, the rest on pseudo-terminals.
"""

from __future__ import annotations

import os
import shlex
import signal
import tempfile
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from queue import SimpleQueue
from random import Random
from statistics import median
from typing import Any

from kill_bench import AGE_S, HANG_S, LIMIT_S, READING_S, KillBench, kill_bench
from row import Row

from ohmwright.wire.clock import RealClock

SILENCE_S = 1.7
"""What the guard of this bench allows: a query's time-out, two readings, half a second."""
AFTER_NOTICE_S = 0.1
LIMIT_PROOF, MEASUREMENT = 2, 4
"""Which activation of a run that is; OFF is proved in the first."""
PROOF_S, IN_THE_PROOF = 1.0, 7
"""Every seventh kill comes while the limit is proved."""
EACH, EACH_REDUCED = 74, 2
RESUMED = 2
"""Of the runs ended by KILL the first on TCP and the first on a pseudo-terminal are resumed."""
KINDS = ("tcp", "pty")
INT, TERM, HUP, KILL, STOP = (
    signal.SIGINT,
    signal.SIGTERM,
    signal.SIGHUP,
    signal.SIGKILL,
    signal.SIGSTOP,
)
WAYS: dict[str, tuple[signal.Signals, ...]] = {
    "INT": (INT,),
    "INT x2": (INT, INT),
    "TERM": (TERM,),
    "HUP": (HUP,),
    "KILL": (KILL,),
    "STOP": (STOP,),
    "KILL with guard": (KILL,),
}
Benches = dict[str, "SimpleQueue[KillBench]"]


@dataclass(frozen=True)
class Trial:
    """One kill."""

    way: str
    seed: int
    number: int

    @property
    def kind(self) -> str:
        """What its bench is served on."""
        return KINDS[self.number % 2]

    @property
    def spec(self) -> str:
        """What replays it."""
        return f"kills/{self.way}/{self.seed}/{self.number}"

    @property
    def guard_too(self) -> bool:
        """Whether the guard is killed as well."""
        return self.way.endswith("guard")

    @property
    def delay_s(self) -> float:
        """How long after RF came on."""
        longest_s = PROOF_S - 0.2 if self.in_the_proof else AGE_S - 0.5
        return Random(f"{self.seed} {self.way} {self.number}").uniform(0, longest_s)

    @property
    def in_the_proof(self) -> bool:
        """Whether the second of RF is meant that proves the limit, not the measurement after.

        Not for a hung engine: the limit ends that second before the guard can notice.
        """
        return self.way != "STOP" and self.number % IN_THE_PROOF == IN_THE_PROOF - 1


@dataclass
class Outcome:
    """What came of it."""

    after_s: float | None = None
    """From the kill to RF off, or for a guard killed too from ON; None: left on."""
    left_on: bool = True
    wrong: bool = False
    undetected: bool = False
    hang: bool = False
    how: str = ""


def bound_s(way: str) -> float:
    """Longest that RF may stay on: after the kill, or for a guard killed too, altogether."""
    if way.endswith("guard"):
        return LIMIT_S + READING_S
    return AFTER_NOTICE_S + (SILENCE_S if way == "STOP" else 0.0)


def kill(bench: KillBench, trial: Trial) -> Outcome:
    """Begin a run, kill it, and judge what it left behind."""
    wanted = bench.truth.begun() + (LIMIT_PROOF if trial.in_the_proof else MEASUREMENT)
    pid = bench.start()
    if not bench.truth.wait_begun(wanted, HANG_S):
        with suppress(ProcessLookupError):
            os.kill(pid, KILL)
        code = bench.engines.ended()
        how = f"never on, exit code {code}: {bench.engines.said()}"
        return Outcome(left_on=False, hang=True, how=how)
    time.sleep(trial.delay_s)
    guards = children(pid)
    at_s = RealClock().now_s()
    for number in WAYS[trial.way]:
        os.killpg(pid, number)
    for guard in guards if trial.guard_too else ():
        os.kill(guard, KILL)
    outcome = _seen(bench, trial, at_s)
    if trial.way == "STOP":
        os.killpg(pid, signal.SIGCONT)
    code = bench.engines.ended()
    guardsgone = gone(guards)
    bench.truth.wait(False, LIMIT_S + 1)
    _after(bench, trial, outcome, code)
    if not guardsgone:
        outcome.hang, outcome.how = True, "the guard has not ended"
    return outcome


def _seen(bench: KillBench, trial: Trial, at_s: float) -> Outcome:
    if not bench.truth.wait(False, LIMIT_S + 2):
        return Outcome(how="left on")
    start_s, off_s = bench.truth.last_interval()
    after_s = off_s - (start_s if trial.guard_too else at_s)
    late = after_s > bound_s(trial.way)
    return Outcome(after_s, left_on=late, how=f"off {1000 * after_s:.1f} ms after" if late else "")


def _after(bench: KillBench, trial: Trial, outcome: Outcome, code: int | None) -> None:
    """A run stopped in good order says so; one that was killed can be gone on with."""
    said = bench.engines.said()
    if code is None:
        outcome.hang, outcome.how = True, "had to be killed"
    elif KILL not in WAYS[trial.way]:
        findings = bench.closed(code)
        outcome.undetected = findings != 0 or "Go on with: --resume" not in said
        if outcome.undetected:
            outcome.how = f"exit code {code}, record {findings}: {bench.engines.said()} {said}"
    elif trial.number < RESUMED and not trial.guard_too:
        resumed = bench.resumed()
        outcome.undetected = resumed != 0
        if outcome.undetected:
            outcome.how = f"resumed with exit code {resumed}: {bench.engines.said()}"


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


def rows(seed: int, reduced: bool, *, jobs: int = 1, mutate: str = "") -> Iterator[Row]:
    """One row for each way of dying, `jobs` benches at a time."""
    each = EACH_REDUCED if reduced else EACH
    if reduced:  # starting a bench costs as much as two kills
        jobs = min(jobs, 4)
    with ExitStack() as stack:
        served = benches(stack, KINDS, (jobs + 1) // 2, mutate)
        pool = stack.enter_context(ThreadPoolExecutor(jobs))
        stack.callback(pool.shutdown, cancel_futures=True)
        trials = {way: [Trial(way, seed, number) for number in range(each)] for way in WAYS}
        begun = {
            way: [pool.submit(_tried, served, trial) for trial in of_way]
            for way, of_way in trials.items()
        }
        for way, of_way in trials.items():
            yield _row(way, of_way, [future.result() for future in begun[way]])


def replay(trial: Trial, *, mutate: str = "") -> dict[str, Any]:
    """One kill again."""
    with ExitStack() as stack:
        return asdict(_tried(benches(stack, (trial.kind,), 1, mutate), trial))


def benches(stack: ExitStack, kinds: Sequence[str], of_each: int, mutate: str) -> Benches:
    folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
    begun = [
        (kind, stack.enter_context(kill_bench(folder / f"{kind}{number}", kind, mutate)))
        for kind in kinds
        for number in range(of_each)
    ]
    served: Benches = {kind: SimpleQueue() for kind in kinds}
    for kind, bench in begun:
        bench.engines.ready()
        served[kind].put(bench)
    return served


def _tried(served: Benches, trial: Trial) -> Outcome:
    bench = served[trial.kind].get()
    try:
        return kill(bench, trial)
    finally:
        served[trial.kind].put(bench)


def _row(way: str, trials: list[Trial], outcomes: list[Outcome]) -> Row:
    times = [1000 * outcome.after_s for outcome in outcomes if outcome.after_s is not None]
    note = f"RF off {median(times):.1f} ms median, {max(times):.1f} ms worst" if times else ""
    what = "since ON" if way.endswith("guard") else "after the signal"
    return Row(
        f"engine killed: {way}",
        len(trials),
        sum(outcome.left_on for outcome in outcomes),
        0,
        sum(outcome.undetected for outcome in outcomes),
        sum(outcome.hang for outcome in outcomes),
        f"{note} {what}, bound {1000 * bound_s(way):.0f} ms",
        tuple(
            f"python scripts/faults --replay {shlex.quote(trial.spec)}  # {outcome.how}"
            for trial, outcome in zip(trials, outcomes, strict=True)
            if outcome.left_on or outcome.undetected or outcome.hang
        ),
    )
