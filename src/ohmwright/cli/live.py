"""The live view of a run at the terminal, and the requests that are answered in it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext
from textwrap import wrap

from rich.console import Group, RenderableType
from rich.live import Live
from rich.text import Text

from ohmwright.api.run_notices import notices_of, passing_notices_of
from ohmwright.api.run_picture import RunPicture
from ohmwright.api.run_view import RunWatch
from ohmwright.instruments.bench import Bench
from ohmwright.model.bench_status import BenchStatus, RfState
from ohmwright.model.cue import Cue
from ohmwright.model.event import Event, Foretold, PointDone, RunResumed, RunStarted
from ohmwright.reports.text import printable
from ohmwright.wire.clock import Clock

from .console import err
from .lines_above import lines_kept_above
from .screen.fitting import Extent
from .screen.layout import few_lines, screen
from .screen.pieces import result_lines, rf_line
from .sound.sounding import Silence, Sounds
from .stop_key import OnKeys, StopKey, ignore_keys
from .terminal_operator import AT_ONCE, PlainDisplay, TerminalOperator

_PLAIN = PlainDisplay()
_TRIED_CHARACTERS = "█▀▄■□▁·─"


class LiveView:
    """A run on standard error: RF, reading, limits, cue, progress; as the terminal has room.

    While a request to the operator is open, RF, reading and limits above it are still refreshed.
    Where standard error is not a terminal, nothing but requests is printed.
    """

    panel: Sequence[Text] = ()
    """Lines of one's own below the view."""
    typing = False
    """Whether an answer is being typed in the view, so that no key of it stops the run."""
    caution = ""
    """What stands below the view until the first activation is over."""

    def __init__(
        self, clock: Clock, sounds: Sounds | None = None, on_keys: OnKeys = ignore_keys
    ) -> None:
        """`on_keys`: called with what is typed while the view is drawn, unless it stops the run."""
        self.watch = RunWatch()
        self._sounds = Silence() if sounds is None else sounds
        self._clock = clock
        self._keys = StopKey(on_keys, lambda: self.typing, self._asks_for_figures)
        self._live: Live | None = None

    @property
    def rf(self) -> RfState | None:
        """The RF state of the last status, None before the first."""
        return None if self.watch.moment is None else self.watch.moment.rf

    def on_event(self, event: Event) -> None:
        """Take an event of the run; print what is told before it begins, and why no value came."""
        self.watch.on_event(event)
        match event:
            case Foretold():
                _tell(f"{event.severity}: step '{event.step}': {event.what}.", "bold")
            case RunStarted() | RunResumed() if event.protections is not None:
                if event.protections.guard_words:
                    _tell(f"{event.protections.guard_words}.", "bold reverse")
            case PointDone():
                for _, words in (*notices_of(event), *passing_notices_of(event)):
                    _tell(printable(words), "bold")

    def on_status(self, moment: BenchStatus) -> None:
        """Store the latest status, have it heard, return at once; a thread draws it later."""
        self.watch.on_status(moment)
        self._sounds.on_status(moment)

    def picture(self) -> RunPicture:
        """Return the run at the present time of the bench's clock."""
        return self.watch.picture(self._clock.now_s())

    def line(self) -> Text:
        """Return what is known of RF at the present time of the bench's clock, in one line."""
        text = rf_line(self.picture().rf, blocks=_room().blocks)
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
            if drawn and self.watch.moment is not None:
                err().print(self.line(), no_wrap=True)  # how RF was read last stays to be seen

    def notify(self, words: Text) -> None:
        """Print the words above what is drawn."""
        self.watch.notify(words.plain, self._clock.now_s())
        _PLAIN.notify(words)

    def take_back(self, words: Text) -> None:
        """Draw the words no longer."""
        self.watch.take_back(words.plain)

    def cue(self, cue: Cue) -> None:
        """Take what is to be done next at the keys; a thread draws it."""
        self.watch.on_cue(cue)
        self._sounds.on_cue(cue)

    def heed(self, words: str) -> None:
        """Have it heard that something is asked, or to be done."""
        self._sounds.attend(words)

    @contextmanager
    def prompt(self, question: Sequence[Text]) -> Iterator[None]:
        """Print what was told, where it is asked and `question`; stop drawing until the block ends.

        What was told before, as to release the foot switch, has left the screen with what was
        drawn. The cursor stands after the last line of the question.
        """
        drawing = self._live is not None
        self._clear()
        picture = self.picture()
        if picture.place:
            question = [Text(picture.place, style="dim"), *question]
        question = [*_last_that_did_not_pass(picture), *question]
        question = [*(Text(words, style=AT_ONCE) for words in self.watch.orders), *question]
        self.watch.hold(self._clock.now_s())
        try:
            above = lines_kept_above(question, self._few_lines) if drawing else nullcontext()
            with above, _PLAIN.prompt(question):
                yield
        finally:
            self.watch.go_on(self._clock.now_s())
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

    def _asks_for_figures(self) -> bool:
        """Whether what the meter shows is typed in this run."""
        return self.watch.moment is not None and self.watch.moment.read_by_eye

    def _hint(self) -> str:
        if not self._keys.watched or self.typing:
            return ""
        early = "typed too early; " if self._keys.typed_early else ""
        return f"{early}space or q stops"

    def _drawn(self) -> RenderableType:
        hint, picture, room = self._hint(), self.picture(), _room()
        caution = wrap(self.caution, room.columns) if picture.on_s == 0 else []
        panel = [*self.panel, *(Text(line, style="bold") for line in caution)]
        return Group(*screen(picture, room, hint, panel))

    def _few_lines(self) -> list[Text]:
        """Return RF, reading with its limits, and gauge."""
        return few_lines(self.picture(), _room())[1:]


def _last_that_did_not_pass(picture: RunPicture) -> Iterator[Text]:
    """Yield the newest result unless it passed: `back` can still have it measured again."""
    if picture.results and picture.results[-1].verdict != "pass":
        for line in result_lines(picture, 1):
            yield Text.assemble("last: ", line, style="bold")


def _tell(words: str, style: str) -> None:
    err().print(words, style=style, soft_wrap=True)


def _room() -> Extent:
    """Return what the terminal has room for now; its last column and row stay free.

    It is never nothing: text is wrapped to it, and what draws would end with RF on.
    """
    console = err()
    try:
        _TRIED_CHARACTERS.encode(console.encoding)
        blocks = True
    except UnicodeEncodeError:
        blocks = False
    return Extent(max(1, console.width - 1), max(1, console.height - 1), blocks)


@contextmanager
def showing(view: LiveView, bench: Bench) -> Iterator[None]:
    """Display `view` of a run on `bench` until the block ends; requests and cues appear in it."""
    if isinstance(bench.operator, TerminalOperator):
        bench.operator.display = view
    with view.displayed():
        yield
