"""A run while it goes on: how far it is, and how RF stands."""

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
from ohmwright.model.event import Event, PointDone, StageStarted, StepStarted
from ohmwright.wire.clock import Clock

from .at_terminal import PersonAtTerminal, PlainScreen
from .console import err
from .status_line import status
from .stop_key import StopKey

STAGE_NAMES = {"as_found": "as found", "adjust": "adjustment", "as_left": "as left"}
_EVERY_S = 0.25
_PLAIN = PlainScreen()


class LiveView:
    """A progress bar that counts points and a line for RF, on standard error.

    While a question is open, that line stands above it and goes on. Nothing is shown where
    standard error is no terminal.
    """

    def __init__(self, clock: Clock, total_points: int, done: int = 0) -> None:
        self._clock = clock
        self._moment: BenchStatus | None = None
        self._stage = self._step = ""
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
        """RF as it was last told."""
        return None if self._moment is None else self._moment.rf

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
        self._progress.update(self._task, description=f"{self._stage}: {self._step}")

    def on_status(self, moment: BenchStatus) -> None:
        """Keep how RF stands; whoever draws comes by for it, so that nobody waits for a screen."""
        self._moment = moment

    def line(self) -> Text:
        """How RF stands now."""
        text = status(self._moment, self._clock.now_s())
        text.truncate(err().width - 1)
        return text

    @contextmanager
    def shown(self) -> Iterator[None]:
        """Draw until the block ends; meanwhile a key stops the run."""
        self._draw()
        try:
            yield
        finally:
            self._clear()

    @contextmanager
    def asking(self, question: Sequence[Text]) -> Iterator[None]:
        """Screen and keyboard belong to `question`, its last line open, until the block ends."""
        drawing = self._live is not None
        self._clear()
        try:
            with self._line_above(question) if drawing else _PLAIN.asking(question):
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
        """`question` printed under a line for RF, which goes on and is gone at the end."""
        console = err()
        console.print(self.line(), no_wrap=True)
        below = sum(len(console.render_lines(line, pad=False)) for line in question) - 1
        with _PLAIN.asking(question), _repeated(lambda: _over(below + 1, self.line())):
            try:
                yield
            except BaseException:
                console.print()  # as Enter would have done
                raise
            finally:
                _over(below + 2, Text())


@contextmanager
def _repeated(what: Callable[[], None]) -> Iterator[None]:
    """Do it every so often while the block waits."""
    loop = asyncio.get_running_loop()

    def once() -> None:
        what()
        timers[:] = [loop.call_later(_EVERY_S, once)]

    timers = [loop.call_later(_EVERY_S, once)]
    try:
        yield
    finally:
        timers[0].cancel()


def _over(lines: int, text: Text) -> None:
    """Write `text` over the line so many above the cursor, which stays where it is."""
    if err().legacy_windows:
        return
    with err().capture() as drawn:
        err().print(text, end="", no_wrap=True)
    err().file.write(f"\x1b7\x1b[{lines}A\r\x1b[2K{drawn.get()}\x1b8")
    err().file.flush()


@contextmanager
def live_view(bench: Bench, total_points: int, *, done: int = 0) -> Iterator[LiveView]:
    """A live view of `bench` that goes away when the run ends; questions are asked within it.

    `done` points have their result already.
    """
    view = LiveView(bench.clock, total_points, done)
    if isinstance(bench.operator, PersonAtTerminal):
        bench.operator.screen = view
    with view.shown():
        yield view
