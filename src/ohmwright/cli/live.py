"""The live view of a run at the terminal: progress by points, and the RF state."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

from rich.console import Group, RenderableType
from rich.live import Live
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn
from rich.text import Text

from ohmwright.instruments.bench import Bench
from ohmwright.model.bench_status import BenchStatus, RfState
from ohmwright.model.event import (
    ActivationOpened,
    Event,
    Foretold,
    PointDone,
    RunResumed,
    RunStarted,
    StageStarted,
    StepStarted,
)
from ohmwright.model.protections import Protections
from ohmwright.wire.clock import Clock

from .console import err
from .status_line import status_line
from .stop_key import StopKey
from .terminal_operator import PlainDisplay, TerminalOperator

STAGE_NAMES = {"as_found": "as found", "adjust": "adjustment", "as_left": "as left"}
_REFRESH_S = 0.25
_PLAIN = PlainDisplay()


class LiveView:
    """A progress bar that counts points, and the RF status line, on standard error.

    While a request to the operator is open, the status line above it is still refreshed. Where
    standard error is not a terminal, nothing but requests is printed.
    """

    def __init__(self, clock: Clock, total_points: int, done: int = 0) -> None:
        self._clock = clock
        self._moment: BenchStatus | None = None
        self._stage = self._step = self._load = ""
        self._progress = Progress(
            TextColumn("{task.description}"),
            BarColumn(bar_width=20),
            TextColumn("{task.completed}/{task.total}"),
            TimeElapsedColumn(),
            console=err(),
        )
        self._task = self._progress.add_task("", total=total_points, completed=done)
        self._keys = StopKey()
        self._live: Live | None = None

    @property
    def rf(self) -> RfState | None:
        """The RF state of the last status, None before the first."""
        return None if self._moment is None else self._moment.rf

    def on_event(self, event: Event) -> None:
        """Advance the bar by one at `PointDone`; show stage and step; print what is told."""
        match event:
            case Foretold():
                told = f"{event.severity}: step '{event.step}': {event.what}."
                err().print(told, style="yellow", soft_wrap=True)
                return
            case StageStarted():
                self._stage = STAGE_NAMES[event.stage]
            case RunStarted() | RunResumed():
                self._print_protections(event.protections)
                return
            case StepStarted():
                self._step, self._load = event.step, ""
            case ActivationOpened():
                self._load = f", {event.load_ohm:g} ohm"
                return
            case PointDone():
                self._progress.advance(self._task)
            case _:
                return
        self._progress.update(self._task, description=f"{self._stage}: {self._step}")

    def _print_protections(self, protections: Protections | None) -> None:
        """Print who must be there, where nothing but this program or a person ends RF."""
        if protections is None or not protections.guard_words:
            return
        err().print(f"{protections.guard_words}.", style="bold yellow", soft_wrap=True)

    def set_total(self, total_points: int, done: int) -> None:
        """Count up to `total_points`, of which `done` are done."""
        self._progress.update(self._task, total=total_points, completed=done)

    def describe(self, what: str) -> None:
        """Show `what` before the bar."""
        self._progress.update(self._task, description=what)

    def on_status(self, moment: BenchStatus) -> None:
        """Store the latest status and return at once; a thread draws it later."""
        self._moment = moment

    def line(self) -> Text:
        """Return the RF status line for the present time of the bench's clock."""
        text = status_line(self._moment, self._clock.now_s())
        text.truncate(err().width - 1)
        return text

    @contextmanager
    def displayed(self) -> Iterator[None]:
        """Display until the block ends; meanwhile space or q stops the run."""
        self._draw()
        try:
            yield
        finally:
            drawn = self._live is not None
            self._clear()
            if drawn and self._moment is not None:
                err().print(self.line(), no_wrap=True)  # how RF was read last stays to be seen

    def notify(self, words: Text) -> None:
        """Print the words above what is drawn."""
        _PLAIN.notify(words)

    @contextmanager
    def prompt(self, question: Sequence[Text]) -> Iterator[None]:
        """Print where it is asked and `question`, and stop drawing until the block ends.

        The cursor stands after the last line of the question.
        """
        drawing = self._live is not None
        self._clear()
        if self._step:
            question = [Text(f"{self._stage}: {self._step}{self._load}", style="dim"), *question]
        try:
            with self._line_above(question) if drawing else _PLAIN.prompt(question):
                yield
        finally:
            if drawing:
                self._draw()

    def _draw(self) -> None:
        if not err().is_terminal:
            return
        self._live = Live(
            get_renderable=self._drawn, console=err(), transient=True, refresh_per_second=4
        )
        self._keys.watch()
        self._live.start(refresh=True)

    def _clear(self) -> None:
        self._keys.ignore()
        live, self._live = self._live, None
        if live is not None:
            live.stop()

    def _drawn(self) -> RenderableType:
        hint = Text("space or q stops", style="dim") if self._keys.watched else Text()
        return Group(self._progress.get_renderable(), self.line(), hint)

    @contextmanager
    def _line_above(self, question: Sequence[Text]) -> Iterator[None]:
        """Print the RF line and `question` below it; refresh the line, erase it at the end."""
        console = err()
        console.print(self.line(), no_wrap=True)
        below = sum(len(console.render_lines(line, pad=False)) for line in question) - 1
        with (
            _PLAIN.prompt(question),
            _called_every_quarter_second(lambda: _overwrite_line_above(below + 1, self.line())),
        ):
            try:
                yield
            except BaseException:
                console.print()  # as Enter would have done
                raise
            finally:
                _overwrite_line_above(below + 2, Text())


@contextmanager
def _called_every_quarter_second(what: Callable[[], None]) -> Iterator[None]:
    """Call `what` from the event loop every 0.25 s until the block ends."""
    loop = asyncio.get_running_loop()

    def once() -> None:
        what()
        timers[:] = [loop.call_later(_REFRESH_S, once)]

    timers = [loop.call_later(_REFRESH_S, once)]
    try:
        yield
    finally:
        timers[0].cancel()


def _overwrite_line_above(lines: int, text: Text) -> None:
    """Replace the line `lines` above the cursor by `text`; the cursor stays where it is."""
    if err().legacy_windows:
        return
    with err().capture() as drawn:
        err().print(text, end="", no_wrap=True)
    err().file.write(f"\x1b7\x1b[{lines}A\r\x1b[2K{drawn.get()}\x1b8")
    err().file.flush()


@contextmanager
def live_view(bench: Bench, total_points: int, *, done: int = 0) -> Iterator[LiveView]:
    """Display a run on `bench` until the block ends; requests to the operator appear in it.

    `total_points`: points of the run, `done`: those that have a result already.
    """
    view = LiveView(bench.clock, total_points, done)
    with showing(view, bench):
        yield view


@contextmanager
def showing(view: LiveView, bench: Bench) -> Iterator[None]:
    """Display `view` of a run on `bench` until the block ends."""
    if isinstance(bench.operator, TerminalOperator):
        bench.operator.display = view
    with view.displayed():
        yield
