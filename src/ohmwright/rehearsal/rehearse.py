"""A whole rehearsal: procedures on the same invented units, by as many processes as asked for."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from ohmwright.model.errors import UsageError

from .cluster import on_cluster
from .comparison import PairedDifference, compared
from .outcome import UnitOutcome
from .summary import Summary, summary
from .unit_run import Rehearsed
from .workers import Done, Task, in_this_process, on_cores

if TYPE_CHECKING:
    from matplotlib.figure import Figure


@dataclass(frozen=True)
class Rehearsal:
    """What a procedure came to on the units that were run."""

    rehearsed: Rehearsed
    wanted: int
    """Number of units asked for; more than `outcomes` where the rehearsal was stopped."""
    outcomes: tuple[UnitOutcome, ...]
    """By number of the unit."""

    def __repr__(self) -> str:
        verdicts = Counter(one.verdict for one in self.outcomes)
        said = [f"{len(self.outcomes)} of {self.wanted} units"]
        said += [f"{count} {verdict}" for verdict, count in sorted(verdicts.items())]
        return f"<Rehearsal of {self.title}: {', '.join(said)}>"

    @property
    def title(self) -> str:
        """Title of the procedure."""
        return self.rehearsed.file.procedure.title

    @cached_property
    def summary(self) -> Summary:
        """What the outcomes come to, of at least one unit: shares with limits, times, heat."""
        return summary(self.outcomes, self.wanted)

    def compare(self, other: Rehearsal) -> dict[str, PairedDifference]:
        """Return what `other` has over this one on the same units, by name.

        Raises UsageError where it is a rehearsal of other units, or none.
        """
        if not isinstance(other, Rehearsal):
            raise UsageError(
                f"A rehearsal is wanted, not {other!r}.",
                do="ohmwright.rehearse(PROCEDURE, bench=FILE, …) gives one.",
            )
        return {one.name: one for one in compared(self.outcomes, other.outcomes)}

    def plot(self, other: Rehearsal | None = None) -> Figure:
        """Return the figure of this rehearsal, beside an `other` one where that is given."""
        from .plot import plot

        return plot([self] if other is None else [self, other])


def rehearsal_names(rehearsals: Sequence[Rehearsal]) -> list[str]:
    """Return a name for each procedure: its title, with its file where two have the same."""
    titles = [
        f"{one.title}, revision {one.rehearsed.file.procedure.revision}" for one in rehearsals
    ]
    if len(set(titles)) == len(titles):
        return titles
    return [f"{t} ({r.rehearsed.file.path.name})" for t, r in zip(titles, rehearsals, strict=True)]


@dataclass(frozen=True)
class Sharing:
    """Who runs the units."""

    workers: int | None = None
    """Processes on this machine; None is one for each core that this process may use."""
    cluster: str | None = None
    """Address of a dask.distributed scheduler, whose workers are then used instead."""

    def outcomes(self, rehearsed: tuple[Rehearsed, ...], tasks: tuple[Task, ...]) -> Iterator[Done]:
        """Yield the outcome of each task, in whatever order they come."""
        if self.cluster is not None:
            return on_cluster(rehearsed, tasks, self.cluster)
        workers = min(_cores() if self.workers is None else self.workers, len(tasks))
        if workers == 1:
            return in_this_process(rehearsed, tasks)
        return on_cores(rehearsed, tasks, workers)


def rehearse_units(
    rehearsed: tuple[Rehearsed, ...],
    units: int,
    sharing: Sharing = Sharing(),
    on_outcome: Callable[[UnitOutcome], None] = lambda _: None,
) -> tuple[Rehearsal, ...]:
    """Run each procedure on the same units, numbered from 0; return a rehearsal for each.

    `on_outcome` is told each outcome as it comes. Ctrl-C ends it with the units done so far, of
    several procedures those that all of them have run. Raises an OhmwrightError before the first
    unit where a bench cannot do what its procedure asks.
    """
    if units < 1:
        raise UsageError("A rehearsal needs at least one unit.", do="Give more with --units.")
    for one in rehearsed:
        one.check()
    tasks = tuple((which, unit) for unit in range(units) for which in range(len(rehearsed)))
    found: tuple[dict[int, UnitOutcome], ...] = tuple({} for _ in rehearsed)
    coming = sharing.outcomes(rehearsed, tasks)
    try:
        for which, outcome in coming:
            found[which][outcome.unit] = outcome
            on_outcome(outcome)
    except KeyboardInterrupt:
        pass
    finally:
        close = getattr(coming, "close", None)
        if close is not None:
            close()
    common = sorted(set.intersection(*(set(of_one) for of_one in found)))
    return tuple(
        Rehearsal(one, units, tuple(of_one[unit] for unit in common))
        for one, of_one in zip(rehearsed, found, strict=True)
    )


def _cores() -> int:
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on every system
        return os.cpu_count() or 1
