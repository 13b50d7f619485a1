"""The engine killed at random instants of an activation."""

from __future__ import annotations

import os
import re
import signal
import time
from collections.abc import Sequence
from statistics import median

from ohmwright.wire.clock import RealClock

from .kill_bench import AGE_S, LIMIT_S, READING_S, KillBench
from .real_time import (
    LIMIT_PROOF,
    MEASUREMENT,
    SILENCE_S,
    Outcome,
    Part,
    Trial,
    begin,
    children,
    gone,
)

AFTER_NOTICE_S = 0.1
PROOF_S, IN_THE_PROOF = 1.0, 7
"""Every seventh kill comes while the limit is proved."""
_GO_ON = re.compile(r"^Go on with: .*--resume \S+", re.MULTILINE)
"""The command that a run which was stopped names."""
RESUMED = 2
"""Of the runs ended by KILL the first on TCP and the first on a pseudo-terminal are resumed."""
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


def guard_too(way: str) -> bool:
    """Whether the guard is killed as well."""
    return way.endswith("guard")


def in_the_proof(trial: Trial) -> bool:
    """Whether the second of RF is meant that proves the limit, not the measurement after.

    Not for a hung engine: the limit ends that second before the guard can notice.
    """
    return trial.way != "STOP" and trial.number % IN_THE_PROOF == IN_THE_PROOF - 1


def bound_s(way: str) -> float:
    """Longest that RF may stay on: after the kill, or for a guard killed too, altogether."""
    if guard_too(way):
        return LIMIT_S + READING_S
    return AFTER_NOTICE_S + (SILENCE_S if way == "STOP" else 0.0)


def kill(bench: KillBench, trial: Trial) -> Outcome:
    """Begin a run, kill it, and judge what it left behind."""
    pid = begin(bench, LIMIT_PROOF if in_the_proof(trial) else MEASUREMENT)
    time.sleep(trial.draw.uniform(0, PROOF_S - 0.2 if in_the_proof(trial) else AGE_S - 0.5))
    guards = children(pid)
    at_s = RealClock().now_s()
    for number in WAYS[trial.way]:
        os.killpg(pid, number)
    for guard in guards if guard_too(trial.way) else ():
        os.kill(guard, KILL)
    outcome = _seen(bench, trial, at_s)
    if trial.way == "STOP":
        os.killpg(pid, signal.SIGCONT)
    code = bench.engines.ended()
    guards_gone = gone(guards)
    bench.truth.wait(False, LIMIT_S + 1)
    _after(bench, trial, outcome, code)
    if not guards_gone:
        outcome.hang, outcome.how = True, "the guard has not ended"
    return outcome


def _seen(bench: KillBench, trial: Trial, at_s: float) -> Outcome:
    """From the kill to RF off, or for a guard killed too from ON."""
    if not bench.truth.wait(False, LIMIT_S + 2):
        return Outcome(how="left on")
    start_s, off_s = bench.truth.last_interval()
    after_s = off_s - (start_s if guard_too(trial.way) else at_s)
    late = after_s > bound_s(trial.way)
    return Outcome(after_s, left_on=late, how=f"off {1000 * after_s:.1f} ms after" if late else "")


def _after(bench: KillBench, trial: Trial, outcome: Outcome, code: int | None) -> None:
    """A run stopped in good order says so; one that was killed can be gone on with."""
    said = bench.engines.said()
    if code is None:
        outcome.hang, outcome.how = True, "had to be killed"
    elif KILL not in WAYS[trial.way]:
        findings = bench.closed(code)
        outcome.undetected = findings != 0 or not _GO_ON.search(said)
        if outcome.undetected:
            outcome.how = f"exit code {code}, record {findings}: {bench.engines.said()} {said}"
    elif trial.number < RESUMED and not guard_too(trial.way):
        resumed = bench.resumed()
        outcome.undetected = resumed != 0
        if outcome.undetected:
            outcome.how = f"resumed with exit code {resumed}: {bench.engines.said()}"


def _noted(way: str, times_s: Sequence[float]) -> str:
    times = [1000 * time_s for time_s in times_s]
    note = f"RF off {median(times):.1f} ms median, {max(times):.1f} ms worst" if times else ""
    what = "since ON" if guard_too(way) else "after the signal"
    return f"{note} {what}, bound {1000 * bound_s(way):.0f} ms"


PART = Part("kills", tuple(WAYS), 74, 1, kill, lambda way: f"engine killed: {way}", _noted)
