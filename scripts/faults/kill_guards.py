"""Engine or guard fail each other, in real time, on benches as for the kills.

The guard is killed alone; both are stopped for a while; their machine sleeps. An engine that does
not end with code 5 says that RF is off: then it must be.
"""

from __future__ import annotations

import os
import shlex
import signal
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, suppress
from dataclasses import asdict, dataclass
from random import Random
from statistics import median
from typing import Any

from kill_bench import AGE_S, HANG_S, LIMIT_S, KillBench
from kill_engines import GAP_S
from kills import KILL, KINDS, MEASUREMENT, SILENCE_S, Benches, Outcome, benches, children, gone
from row import Row

from ohmwright.wire.clock import RealClock

FOUND_AGAIN_S = 2.0
OVER_LIMIT_S = 0.1
ON_S_WITHIN_S = 0.5
"""The recorded on-time counts from ON's answer and ends with the last look."""
LONGEST_STOP_S = LIMIT_S + 1.0
CODE_5 = 5
EACH, EACH_REDUCED = 60, 2
ALONE, STOPPED = "guard killed alone", "both stopped, then continued"
TOLD, UNTOLD = "the machine asleep", "the machine asleep, its clock standing still"
WAYS = (ALONE, STOPPED, TOLD, UNTOLD)
MEANT = {
    ALONE: {"LinkLost"},
    STOPPED: {"GuardTripped", "ActivationVoid", "ActivationCutShort"},
    TOLD: {"ActivationVoid"},
    UNTOLD: {"ActivationVoid"},
}
"""The errors that a run ends in which came to no result."""


@dataclass(frozen=True)
class Trial:
    """One failure at a drawn instant of the measurement."""

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
        return f"guards/{self.way}/{self.seed}/{self.number}"

    @property
    def draw(self) -> Random:
        """Its own random numbers."""
        return Random(f"{self.seed} {self.way} {self.number}")

    @property
    def delay_s(self) -> float:
        """How long after RF came on."""
        return self.draw.uniform(0.3, AGE_S - 0.5)

    @property
    def stop_s(self) -> float:
        """How long both are stopped."""
        return self.draw.uniform(0.2, LONGEST_STOP_S) if self.way == STOPPED else GAP_S


def fail(bench: KillBench, trial: Trial) -> Outcome:
    """Begin a run, let it fail, and judge what came of it."""
    wanted, pid = bench.truth.begun() + MEASUREMENT, bench.start()
    if not bench.truth.wait_begun(wanted, HANG_S):
        with suppress(ProcessLookupError):
            os.kill(pid, KILL)
        code = bench.engines.ended()
        how = f"never on, exit code {code}: {bench.engines.said()}"
        return Outcome(left_on=False, hang=True, how=how)
    time.sleep(trial.delay_s)
    guards = children(pid)
    at_s = RealClock().now_s()
    _strike(pid, guards, trial)
    code = bench.engines.ended()
    on = bench.truth.on()
    outcome = _judged(bench, trial, at_s, code, on=on)
    if not gone(guards):
        outcome.hang, outcome.how = True, "the guard has not ended"
    bench.truth.wait(False, LIMIT_S + 1)
    return outcome


def _strike(pid: int, guards: list[int], trial: Trial) -> None:
    if trial.way == ALONE:
        for guard in guards:
            os.kill(guard, KILL)
        return
    both = [pid, *guards]
    for one in both:
        os.kill(one, signal.SIGSTOP)
    if trial.way in (TOLD, UNTOLD):
        os.kill(pid, signal.SIGUSR1 if trial.way == TOLD else signal.SIGUSR2)
    time.sleep(trial.stop_s)
    trial.draw.shuffle(both)
    for one in both:
        os.kill(one, signal.SIGCONT)


def _judged(bench: KillBench, trial: Trial, at_s: float, code: int | None, *, on: bool) -> Outcome:
    if code is None:
        return Outcome(left_on=on, hang=True, how="had to be killed")
    if on and code != CODE_5:
        return Outcome(wrong=True, how=f"said to be off with exit code {code} while RF was on")
    if not bench.truth.wait(False, LIMIT_S + 2):
        return Outcome(how="left on")
    start_s, off_s = bench.truth.last_interval()
    over_limit = off_s - start_s > LIMIT_S + OVER_LIMIT_S
    not_found = trial.way == ALONE and off_s - at_s > FOUND_AGAIN_S
    outcome = Outcome(off_s - at_s, left_on=over_limit or not_found)
    outcome.undetected, outcome.how = _unseen(bench, trial, code)
    outcome.wrong, told = _on_time_wrong(bench, off_s - start_s)
    outcome.how = f"off after {off_s - at_s:.2f} s, {told} {outcome.how}"
    return outcome


def _unseen(bench: KillBench, trial: Trial, code: int) -> tuple[bool, str]:
    """Whether the run went on as if nothing had been, or its record does not say what was."""
    if code == 0:
        short = trial.way == STOPPED and trial.stop_s <= SILENCE_S
        return not short, f"passed after a stop of {trial.stop_s:.2f} s"
    if bench.closed(code) != 0:
        return True, f"exit code {code}: {bench.engines.said()}"
    fault = bench.fault()
    return fault not in MEANT[trial.way] and code != CODE_5, f"exit code {code}, {fault}"


def _on_time_wrong(bench: KillBench, true_s: float) -> tuple[bool, str]:
    """Whether a result that was kept rests on another time than RF was on."""
    if bench.fault():
        return False, ""
    told_s = bench.last_on_s()
    wrong = told_s is not None and abs(told_s - true_s) > ON_S_WITHIN_S
    return wrong, f"on for {true_s:.2f} s, recorded {told_s}"


def rows(seed: int, reduced: bool, *, jobs: int = 1, mutate: str = "") -> Iterator[Row]:
    """One row for each way of failing, `jobs` benches at a time."""
    each = EACH_REDUCED if reduced else EACH
    if reduced:
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
    """One failure again."""
    with ExitStack() as stack:
        return asdict(_tried(benches(stack, (trial.kind,), 1, mutate), trial))


def _tried(served: Benches, trial: Trial) -> Outcome:
    bench = served[trial.kind].get()
    try:
        return fail(bench, trial)
    finally:
        served[trial.kind].put(bench)


def _row(way: str, trials: list[Trial], outcomes: list[Outcome]) -> Row:
    times = [outcome.after_s for outcome in outcomes if outcome.after_s is not None]
    note = f"RF off {median(times):.2f} s median, {max(times):.2f} s worst after" if times else ""
    pairs = list(zip(trials, outcomes, strict=True))
    return Row(
        way,
        len(trials),
        sum(outcome.left_on for outcome in outcomes),
        sum(outcome.wrong for outcome in outcomes),
        sum(outcome.undetected for outcome in outcomes),
        sum(outcome.hang for outcome in outcomes),
        note,
        tuple(
            f"python scripts/faults --replay {shlex.quote(trial.spec)}  # {outcome.how}"
            for trial, outcome in pairs
            if outcome.left_on or outcome.wrong or outcome.undetected or outcome.hang
        ),
    )
