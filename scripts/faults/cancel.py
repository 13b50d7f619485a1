"""A cancellation at every pause of whole runs: of task or scope, twice, again and again."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from random import Random
from typing import Any

import anyio

from .forks import Forks
from .judge import Log, verdict
from .messages import sound
from .rig import VIRTUAL_BOUND_S, Case, made
from .row import Row
from .tally import Tally

_IN_A_STORM = 30


class Injection:
    """Cancels at a pause, and perhaps at later ones."""

    def __init__(self, kind: str, seed: int) -> None:
        self.kind = kind
        self._left = {"storm": _IN_A_STORM, "everything": _IN_A_STORM}.get(kind, 1)
        self._again_in = Random(seed).randint(1, 12)

    def first(self, task: asyncio.Task[Any], scope: anyio.CancelScope) -> None:
        """The first one."""
        self._task = task
        if self.kind == "scope":
            scope.cancel()
        else:
            task.cancel()

    def later(self) -> None:
        """At each pause after it."""
        if self.kind == "twice":
            self._again_in -= 1
            if self._again_in == 0:
                self._task.cancel()
        elif self.kind in ("storm", "everything") and self._left:
            self._left -= 1
            tasks = asyncio.all_tasks() if self.kind == "everything" else {self._task}
            for task in tasks:
                task.cancel()


KINDS = ("task", "scope", "twice", "storm", "everything")


def rows(seed: int, reduced: bool, jobs: int = 1) -> Iterator[Row]:
    """Every kind at every pause of every demo procedure and of a sweep."""
    strides = {"demo": 8009, "attended": 787, "sweep": 631, "short": 631} if reduced else {}
    for name in ("attended", "sweep", "short", "demo"):
        yield from _rows_of(Case(name, seed), jobs, strides.get(name, 1))


def _rows_of(case: Case, jobs: int, stride: int) -> Iterator[Row]:
    replay = f"python scripts/faults --replay cancel/{case.name}/{case.seed}"
    tallies = {kind: Tally(f"cancel {kind}, {case.name} run", replay) for kind in KINDS}
    expected = sound(case)
    forks = Forks(jobs, lambda outcome: tallies[outcome["fault"].partition(":")[0]].take(outcome))

    def choose(pause: int) -> str | None:
        for place, kind in enumerate(KINDS):
            if (pause + place) % stride == 0 and forks.fork(f"{kind}:{pause}"):
                return kind
        return None

    outcome = _run(case, expected, choose)
    if forks.child is not None:
        forks.report(outcome)
    forks.finish()
    for tally in tallies.values():
        yield tally.row()


def replay(case: Case, spec: str) -> dict[str, Any]:
    """One trial again, from the start and without a fork."""
    kind, _, at = spec.partition(":")
    return _run(case, sound(case), lambda pause: kind if pause == int(at) else None)


def _run(case: Case, expected: Log, choose: Callable[[int], str | None]) -> dict[str, Any]:
    log, count = Log(), [0]
    injected: list[Injection] = []
    at_work: list[tuple[asyncio.Task[Any], anyio.CancelScope]] = []

    def on_pause() -> None:
        if injected:
            injected[0].later()
            return
        count[0] += 1
        kind = choose(count[0])
        if kind is not None:
            injected.append(Injection(kind, count[0]))
            rig.clock.bound_s = rig.clock.now_s() + VIRTUAL_BOUND_S
            injected[0].first(*at_work[0])

    rig = made(case, pausing=True, on_pause=on_pause)

    async def work() -> None:
        task = asyncio.current_task()
        assert task is not None
        with anyio.CancelScope() as scope:
            at_work.append((task, scope))
            await log.keep(rig, rig.work())

    try:
        asyncio.run(work())
    except asyncio.CancelledError as cancelled:
        log.error = cancelled
    outcome = verdict(rig, log, expected)
    heard = at_work[0][1].cancelled_caught or isinstance(log.error, asyncio.CancelledError)
    # one that comes in the last release finds the run complete when the release is through
    complete = log.finished and log.named == expected.named
    outcome["undetected"] |= bool(injected) and not (heard or complete)
    outcome["error"] = "stopped" if heard else outcome["error"]
    return outcome
