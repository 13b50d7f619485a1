"""A run while it goes on: how far it is, and the current as it comes in."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from rich.progress import BarColumn, Progress, TaskID, TextColumn, TimeElapsedColumn

from ohmwright.model.event import Event, PointDone, StageStarted, StepStarted
from ohmwright.model.moment import Moment

from .console import err

STAGE_NAMES = {"as_found": "as found", "adjust": "adjustment", "as_left": "as left"}


class LiveView:
    """A progress bar that counts points, on standard error; nothing where that is no terminal."""

    def __init__(self, progress: Progress, task: TaskID) -> None:
        self._progress, self._task = progress, task
        self._stage = self._step = ""

    def on_event(self, event: Event) -> None:
        """Move the bar on at each point done."""
        match event:
            case StageStarted():
                self._stage = STAGE_NAMES[event.stage]
            case StepStarted():
                self._step = event.step
            case PointDone():
                self._progress.advance(self._task)
            case _:
                return
        self._describe()

    def on_moment(self, moment: Moment) -> None:
        """Show how RF stands."""
        if moment.rf == "on" and moment.current_ma is not None:
            self._describe(f"RF ON {moment.age_s or 0.0:4.1f} s {moment.current_ma:7.1f} mA")
        else:
            self._describe(f"RF {moment.rf.upper()}")

    def _describe(self, reading: str = "") -> None:
        self._progress.update(
            self._task, description=f"{self._stage}: {self._step}", reading=reading
        )


@contextmanager
def live_view(total_points: int) -> Iterator[LiveView]:
    """A live view that goes away when the run ends."""
    progress = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.completed}/{task.total}"),
        TimeElapsedColumn(),
        TextColumn("[bold]{task.fields[reading]}"),
        console=err(),
        transient=True,
        disable=not err().is_terminal,
    )
    with progress:
        yield LiveView(progress, progress.add_task("", total=total_points, reading=""))
