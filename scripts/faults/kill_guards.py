"""Engine and guard fail each other, in real time.

The guard is killed alone; both are stopped for a while; their machine sleeps. An engine that does
not end with code 5 says that RF is off: then it must be.
"""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Sequence
from statistics import median

from ohmwright.wire.clock import RealClock

from .kill_bench import AGE_S, LIMIT_S, KillBench
from .kill_engines import GAP_S
from .real_time import MEASUREMENT, SILENCE_S, Outcome, Part, Trial, begin, children, gone

FOUND_AGAIN_S = 2.0
OVER_LIMIT_S = 0.1
ON_S_WITHIN_S = 0.5
"""The recorded on-time counts from ON's answer and ends with the last look."""
LONGEST_STOP_S = LIMIT_S + 1.0
CODE_5 = 5
ALONE, STOPPED = "guard killed alone", "both stopped, then continued"
TOLD, UNTOLD = "the machine asleep", "the machine asleep, its clock standing still"
MEANT = {
    ALONE: {"LinkLost"},
    STOPPED: {"GuardTripped", "ActivationVoid", "ActivationCutShort"},
    TOLD: {"ActivationVoid"},
    UNTOLD: {"ActivationVoid"},
}
"""The errors that a run ends in which came to no result."""


def stop_s(trial: Trial) -> float:
    """How long both are stopped."""
    return trial.draw.uniform(0.2, LONGEST_STOP_S) if trial.way == STOPPED else GAP_S


def fail(bench: KillBench, trial: Trial) -> Outcome:
    """Begin a run, let it fail, and judge what came of it."""
    pid = begin(bench, MEASUREMENT)
    time.sleep(trial.draw.uniform(0.3, AGE_S - 0.5))
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
            os.kill(guard, signal.SIGKILL)
        return
    both = [pid, *guards]
    for one in both:
        os.kill(one, signal.SIGSTOP)
    if trial.way in (TOLD, UNTOLD):
        os.kill(pid, signal.SIGUSR1 if trial.way == TOLD else signal.SIGUSR2)
    time.sleep(stop_s(trial))
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
        short = trial.way == STOPPED and stop_s(trial) <= SILENCE_S
        return not short, f"passed after a stop of {stop_s(trial):.2f} s"
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


def _noted(_: str, times_s: Sequence[float]) -> str:
    if not times_s:
        return ""
    return f"RF off {median(times_s):.2f} s median, {max(times_s):.2f} s worst after"


PART = Part("guards", tuple(MEANT), 60, 1, fail, str, _noted)
