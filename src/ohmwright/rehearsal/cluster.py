"""Units shared out to the workers of a dask.distributed scheduler."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ohmwright.model.errors import UsageError

from .outcome import UnitOutcome
from .unit_run import Rehearsed
from .workers import Done, Task

_CONNECT_S = 20
_LOST_AT_MOST = 10
"""Workers that may be lost with the same unit in hand, before it is given up."""


def on_cluster(
    rehearsed: tuple[Rehearsed, ...], tasks: Iterable[Task], address: str
) -> Iterator[Done]:
    """Yield each task's outcome as it comes from the workers of the scheduler at `address`.

    The scheduler gives the units of a lost worker to another. Raises UsageError where the extra
    `cluster` is not installed, or nobody answers at the address.
    """
    try:
        import dask
        from distributed import Client, as_completed
    except ImportError:
        raise UsageError(
            "A cluster needs dask.distributed, which is not installed.",
            do="pip install 'ohmwright[cluster]', on the workers, too.",
        ) from None
    with dask.config.set({"distributed.scheduler.allowed-failures": _LOST_AT_MOST}):
        try:
            client = Client(  # type: ignore[no-untyped-call]
                address, timeout=_CONNECT_S, set_as_default=False
            )
        except (OSError, ValueError) as problem:
            raise UsageError(
                f"No scheduler answers at {address}: {str(problem).splitlines()[0]}",
                do="Start one (dask scheduler), and give its address, such as tcp://host:8786.",
            ) from None
        with client:
            # a task of its own, which the scheduler can do again where a lost worker held it
            shared = [client.submit(_as_it_is, one, pure=False) for one in rehearsed]
            futures = [
                client.submit(_run, shared[which], which, unit, pure=False) for which, unit in tasks
            ]
            for future in as_completed(futures, loop=client.loop):  # type: ignore[no-untyped-call]
                yield future.result()
                future.release()


def _run(rehearsed: Rehearsed, which: int, unit: int) -> tuple[int, UnitOutcome]:
    return which, rehearsed.run_unit(unit)


def _as_it_is(rehearsed: Rehearsed) -> Rehearsed:
    return rehearsed
