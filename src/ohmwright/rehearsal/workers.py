"""Units shared out to this process or to several: whoever is lost, its units are run again."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from concurrent.futures import (
    FIRST_COMPLETED,
    CancelledError,
    Future,
    ProcessPoolExecutor,
    ThreadPoolExecutor,
    wait,
)
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import active_children, get_context
from multiprocessing.synchronize import Event

from ohmwright.model.errors import ProgramFault
from ohmwright.wire.worker_process import begin_worker, ctrl_c_held_back

from .outcome import UnitOutcome
from .unit_run import Rehearsed

Task = tuple[int, int]
"""Which of the procedures rehearsed, and the number of the unit."""
Done = tuple[int, UnitOutcome]
"""Which of the procedures rehearsed, and what the unit's run came to."""
_AHEAD = 3
"""Units handed out for each worker: one in hand, the others waiting."""
_LOST_IN_A_ROW = 3
"""Pools that broke without a single unit done, after which workers cannot live at all."""


def in_this_process(rehearsed: tuple[Rehearsed, ...], tasks: Iterable[Task]) -> Iterator[Done]:
    """Yield each task's outcome, one after the other; also within a running event loop."""
    with ThreadPoolExecutor(1) as thread:  # a thread of its own has no loop that runs already
        for which, unit in tasks:
            yield which, thread.submit(rehearsed[which].run_unit, unit).result()


def on_cores(
    rehearsed: tuple[Rehearsed, ...], tasks: Iterable[Task], workers: int
) -> Iterator[Done]:
    """Yield each task's outcome as it comes from one of so many processes.

    The units of a process that was killed are given to another. Raises ProgramFault where processes
    die as soon as they are started.
    """
    left, lost = deque(tasks), 0
    while left:
        before = len(left)
        try:
            yield from _with_one_pool(rehearsed, left, workers)
        except BrokenProcessPool:
            lost = lost + 1 if len(left) == before else 0
            if lost >= _LOST_IN_A_ROW:
                raise _cannot_live() from None


def _with_one_pool(
    rehearsed: tuple[Rehearsed, ...], left: deque[Task], workers: int
) -> Iterator[Done]:
    """Yield outcomes and take their tasks off `left`, until none is left or the pool breaks."""
    context, others = get_context("spawn"), set(active_children())
    stopping = context.Event()
    pool = ProcessPoolExecutor(workers, context, _begin, (rehearsed, stopping))
    running: dict[Future[UnitOutcome], Task] = {}
    try:
        while left or running:
            while left and len(running) < _AHEAD * workers:
                task = left.popleft()
                with ctrl_c_held_back():  # the first ones start the workers
                    running[pool.submit(_run, *task)] = task
            for future in wait(running, return_when=FIRST_COMPLETED).done:
                outcome = future.result()  # before it is taken off: a broken pool raises here
                which, _ = running.pop(future)
                yield which, outcome
    finally:
        stopping.set()  # what waits in a worker's hand is not begun any more
        left.extendleft(reversed(running.values()))
        # no future is cancelled here: the pool, told of a lost worker, fails over a cancelled one
        pool.shutdown(wait=not running, cancel_futures=True)
        if running:  # an interpreter that ends would wait for the unit in each worker's hand
            for worker in set(active_children()) - others:
                worker.terminate()


_rehearsed: tuple[Rehearsed, ...] = ()
"""What this worker process runs units of."""
_stopping: Event | None = None
"""Set when nobody waits for another unit."""


def _begin(rehearsed: tuple[Rehearsed, ...], stopping: Event) -> None:
    """Begin a worker, which runs units of `rehearsed`."""
    global _rehearsed, _stopping
    _rehearsed, _stopping = rehearsed, stopping
    begin_worker()


def _run(which: int, unit: int) -> UnitOutcome:
    if _stopping is not None and _stopping.is_set():
        raise CancelledError
    return _rehearsed[which].run_unit(unit)


def _cannot_live() -> ProgramFault:
    return ProgramFault(
        "The worker processes of the rehearsal end as soon as they are started.",
        "No unit was run by them.",
        "In a script, call it below `if __name__ == '__main__':`; else try one worker, and look at "
        "the memory that is left.",
    )
