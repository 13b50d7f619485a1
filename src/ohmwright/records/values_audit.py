"""Audit of values: each computed once more from its readings, of many runs on all cores."""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing import cpu_count, get_context
from types import TracebackType

from ohmwright.engine.recomputed_values import (
    NotRecomputable,
    Recomputable,
    differing,
    recomputable,
)
from ohmwright.model.event import Event
from ohmwright.wire.worker_process import begin_worker, ctrl_c_held_back

from .audit_finding import AuditFinding

NOT_ASKED_FOR = "not asked for"
_FEW = 1000
"""Values that this process computes itself, some ten seconds: others take seconds to start."""
_NAMED = 1000
"""Values that are named of each reason; more are counted."""
_AHEAD = 4
"""Runs handed out for each process before the oldest one is waited for."""


@dataclass(frozen=True)
class _HandedOut:
    run_id: str
    values: Sequence[Recomputable]
    found: Future[list[tuple[int, str]]]


class RecomputedValues:
    """Finds, in the runs that it is called with, values that their readings do not give.

    What is found of a run may come with a later one; `rest` yields what is still to come. Used as
    a context, at whose end its processes are gone.
    """

    def __init__(self, *, wanted: bool = True) -> None:
        """`wanted`: whether anything is computed; else values are only counted."""
        self.reasons = Counter[str]()
        """Why not, with the count of each; those that were under an empty reason."""
        self.named: dict[str, list[str]] = {}
        """Of each such reason the first values, by run, stage, step and point."""
        self._wanted = wanted
        self._pool: ProcessPoolExecutor | None = None
        self._handed_out = deque[_HandedOut]()

    def __enter__(self) -> RecomputedValues:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        if self._pool is not None:
            self._pool.shutdown(wait=True, cancel_futures=True)

    def __call__(self, run_id: str, events: Sequence[Event]) -> Iterator[AuditFinding]:
        """Yield findings of this run or of earlier ones."""
        values, why_not = recomputable(events)
        self._name(run_id, why_not)
        if not self._wanted:
            self.reasons[NOT_ASKED_FOR] += len(values)
            return
        self.reasons[""] += len(values)
        if self.reasons[""] <= _FEW:
            yield from _findings(run_id, differing(values))
            return
        self._hand_out(run_id, values)
        while len(self._handed_out) > _AHEAD * cpu_count():
            yield from self._oldest()

    def _name(self, run_id: str, why_not: Sequence[NotRecomputable]) -> None:
        for one in why_not:
            self.reasons[one.why] += 1
            named = self.named.setdefault(one.why, [])
            if len(named) < _NAMED:
                named.append(f"{run_id}: {one.point}")

    def rest(self) -> Iterator[AuditFinding]:
        """Yield what is found in the runs that are still being computed."""
        while self._handed_out:
            yield from self._oldest()

    def _hand_out(self, run_id: str, values: Sequence[Recomputable]) -> None:
        if self._pool is None:
            self._pool = ProcessPoolExecutor(cpu_count(), get_context("spawn"), begin_worker)
        try:
            with ctrl_c_held_back():  # the first ones start the workers
                found = self._pool.submit(differing, values)
        except BrokenProcessPool as broken:
            found = Future()
            found.set_exception(broken)
        self._handed_out.append(_HandedOut(run_id, values, found))

    def _oldest(self) -> Iterator[AuditFinding]:
        """Yield what is found in the run that was handed out first; it is waited for."""
        one = self._handed_out.popleft()
        try:
            found = one.found.result()
        except BrokenProcessPool:  # a process was killed: its runs are computed here
            found = differing(one.values)
        yield from _findings(one.run_id, found)


def _findings(run_id: str, found: Sequence[tuple[int, str]]) -> Iterator[AuditFinding]:
    return (AuditFinding(said, run_id, number) for number, said in found)
