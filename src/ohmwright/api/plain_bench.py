"""An open bench for scripts and notebooks: nothing to await, whatever loop already runs.

The bench lives in an event loop of its own, in a thread of its own.
"""

from __future__ import annotations

import asyncio
import atexit
import signal
import threading
from collections.abc import AsyncGenerator, Awaitable, Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from functools import partial
from os import PathLike
from threading import Event as Signal
from typing import TypeVar, Unpack

from anyio.from_thread import BlockingPortal, start_blocking_portal

from ohmwright.instruments.operator import Operator
from ohmwright.model.errors import ReleaseNotConfirmed, UsageError

from .async_bench import AsyncBench, open_bench
from .bench_data import BenchData
from .curve import Curve, CurvePoint
from .job_options import ProcedureOptions, SweepOptions
from .paths import RecordsAt
from .right_with import for_plain_with
from .run_of_record import Run
from .sweep_plan import Sweep

T = TypeVar("T")
"""What a call returns."""
_RELEASE_BOUND_S = 60
"""How long an interrupted call waits for the output to be off and the record to say so."""


class _ProgramEnds(Exception):  # noqa: N818 - no error: the program has asked for it
    """What `on_event` raises to end the program or a test, carried out of the bench's loop.

    Raised within that loop it would end the loop, with lines open and nobody to close them.
    pytest's fail() and skip() are of this kind.
    """

    def __init__(self, by: BaseException) -> None:
        self.by = by


class PlainBench:
    """An open bench; `bench` makes one. Its calls are those of `AsyncBench`, without await."""

    def __init__(self, opened: AsyncBench, portal: BlockingPortal) -> None:
        self._bench, self._portal = opened, portal
        self._handed_out: list[AsyncGenerator[CurvePoint, None]] = []
        self._thread = portal.call(threading.get_ident)

    def __repr__(self) -> str:
        closed = "" if self._bench.use.is_open else ", closed"
        return f"<bench {self.data.file.name}{closed}>"

    @property
    def data(self) -> BenchData:
        """The content of the bench file and of the files that it names."""
        return self._bench.data

    def measure(self, plan: Sweep, **options: Unpack[SweepOptions]) -> Curve:
        """Carry out a sweep and return its curve. Options: `ohmwright guide python`."""
        return self._call(partial(self._bench.measure, plan, **options))

    def points(self, plan: Sweep, **options: Unpack[SweepOptions]) -> Iterator[CurvePoint]:
        """Carry out a sweep and yield each point once it is on record.

        Options: `ohmwright guide python`.
        """
        points = self._bench.points(plan, **options)
        self._handed_out.append(points)
        try:
            while (point := self._call(partial(_next, points))) is not None:
                yield point
        finally:
            self._end(points)

    def end_points(self) -> None:
        """End every sweep of `points` that is not at its end, with that on record."""
        for points in tuple(self._handed_out):
            self._end(points)

    def end_jobs(self) -> None:
        """Stop what goes on where the program ends first: in a thread that nobody waits for."""
        with suppress(UsageError, TimeoutError):  # closed, or the bench of another process
            self._bench.use.refuse_closed()
            self._portal.start_task_soon(self._bench.end_jobs).result(_RELEASE_BOUND_S)

    def leave_to_parent(self) -> None:
        """Have nobody wait for the bench's thread, which a forked process does not have."""
        self._handed_out.clear()
        with suppress(StopIteration, RuntimeError):  # it awaits nothing, and no loop runs
            self._portal.stop().send(None)

    def _end(self, points: AsyncGenerator[CurvePoint, None]) -> None:
        if points in self._handed_out:  # the block may have ended it
            self._handed_out.remove(points)
            self._call(points.aclose)

    def resume(self, run: str = "last", **options: Unpack[SweepOptions]) -> Curve:
        """Measure what a sweep on record lacks, and return the whole curve.

        `run`: its number, or "last". Options: `ohmwright guide python`.
        """
        return self._call(partial(self._bench.resume, run, **options))

    def run(
        self, procedure: str | PathLike[str] | None = None, **options: Unpack[ProcedureOptions]
    ) -> Run:
        """Run a procedure file and return what is on record of it.

        Options: `ohmwright guide python`.
        """
        return self._call(partial(self._bench.run, procedure, **options))

    def _call(self, work: Callable[[], Awaitable[T]]) -> T:
        """Await `work` in the bench's thread; an interruption is raised once RF is off.

        It tells what was read of RF. Where RF could not be read back as off, that is raised.
        """
        self._bench.use.refuse_closed()  # with it the thread has ended
        if threading.get_ident() == self._thread:  # within `on_event` of a job
            self._bench.use.refuse_unready()
        ended, unconfirmed = Signal(), list[ReleaseNotConfirmed]()

        async def told() -> T:
            try:
                return await work()
            except ReleaseNotConfirmed as problem:
                unconfirmed.append(problem)
                raise
            except (asyncio.CancelledError, Exception):
                raise
            except BaseException as problem:
                raise _ProgramEnds(problem) from None
            finally:
                ended.set()

        with _interruption_heard():
            future = self._portal.start_task_soon(told)
            try:
                return future.result()
            except _ProgramEnds as told_of:
                raise told_of.by from None
            except BaseException as interruption:
                if future.cancel():
                    _wait_for_release(ended)
                    interruption.add_note(self._bench.instruments.rf.told)
                    for problem in unconfirmed:
                        raise problem from interruption
                raise


@for_plain_with
def bench(
    path: str | PathLike[str],
    *,
    seed: int | None = None,
    port: str | None = None,
    operator: Operator | None = None,
    guarded: bool = True,
    asset: str | None = None,
    in_repair: bool = False,
    records: RecordsAt | None = None,
) -> Iterator[PlainBench]:
    """Open the bench of a file for scripts and notebooks; see `open_bench`.

    >>> import ohmwright
    >>> plan = ohmwright.Sweep(modes={"cut": [150]}, loads_ohm=[200, 500])
    >>> with ohmwright.bench("bench.toml", seed=3) as bench:
    ...     print(plan.estimate(bench).points, "points")
    ...     curve = bench.measure(plan, out="curve.csv", records="trial")
    2 points
    >>> for point in curve:
    ...     print(f"{point.power_w:.1f} W, U = {point.power.expanded:.1f} W")
    143.5 W, U = 2.7 W
    146.8 W, U = 2.4 W
    """
    opening = open_bench(
        path,
        seed=seed,
        port=port,
        operator=operator,
        guarded=guarded,
        asset=asset,
        in_repair=in_repair,
        records=records,
    )
    with start_blocking_portal() as portal, ExitStack() as block:
        opened = block.enter_context(portal.wrap_async_context_manager(opening))
        plain = PlainBench(opened, portal)
        block.callback(plain.end_points)
        atexit.register(plain.end_jobs)
        try:
            yield plain
        finally:
            atexit.unregister(plain.end_jobs)
            if opened.use.is_of_parent:
                plain.leave_to_parent()
                block.pop_all()


@contextmanager
def _interruption_heard() -> Iterator[None]:
    """Have SIGINT raise KeyboardInterrupt in a block that holds up the event loop of this thread.

    The handler of that loop, as of a notebook's cell with an `await`, has the loop cancel what runs
    in it, and the loop comes to that only after the block.
    """
    handler = signal.getsignal(signal.SIGINT)
    if not callable(handler) or not _holds_up_a_loop():  # by default it is heard, or ignored
        yield
        return
    signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, handler)


def _wait_for_release(ended: Signal) -> None:
    """Return when an interrupted call has `ended`, or after the bound; another Ctrl-C waits too."""
    for _ in range(_RELEASE_BOUND_S):
        with suppress(KeyboardInterrupt):
            if ended.wait(1.0):
                return


def _holds_up_a_loop() -> bool:
    """Whether this is the main thread, which hears signals, and its event loop runs."""
    try:
        asyncio.get_running_loop()
    except RuntimeError:
        return False
    return threading.current_thread() is threading.main_thread()


async def _next(points: AsyncGenerator[CurvePoint, None]) -> CurvePoint | None:
    """Return the next point; None where there is no other."""
    return await anext(points, None)
