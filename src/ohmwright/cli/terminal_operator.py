"""The operator who answers requests at this terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from typing import Protocol

import anyio
from rich.text import Text

from ohmwright.api.rf_words import rf_at_request
from ohmwright.instruments.operator import Operator, beside_its_own
from ohmwright.instruments.requests import Answer, Request, ValueRequest
from ohmwright.model.account import account_name
from ohmwright.model.bench_status import RfState
from ohmwright.model.cue import Cue
from ohmwright.model.errors import UsageError
from ohmwright.reports.text import printable
from ohmwright.wire.clock import RealClock

from .console import err
from .keyboard import at_a_terminal, discard_pending_input, read_line, show_typing, unechoed
from .screen.pieces import RF_WORDS
from .signals import stop_now

_READING_TIME_S = 0.3
"""Nobody reads a request faster; what was typed earlier is not an answer to it."""
AT_ONCE = "bold white on red"
"""Style of what a person is told to do at once."""
_TIME = RealClock()
"""Real time, whatever clock the bench has."""


class Display(Protocol):
    """What prints requests to the operator."""

    @property
    def rf(self) -> RfState | None:
        """The RF state that is displayed; None where none is."""

    def prompt(self, question: Sequence[Text]) -> AbstractContextManager[None]:
        """Print `question`, cursor after its last line; leave the keyboard alone in the block."""

    def notify(self, words: Text) -> None:
        """Print something that needs no answer, and display it until it is taken back."""

    def take_back(self, words: Text) -> None:
        """Display no longer what was printed by `notify`."""

    def heed(self, words: str) -> None:
        """Have it heard that something is asked, or to be done; silent where nothing sounds."""

    def cue(self, cue: Cue) -> None:
        """Show and have heard what is to be done next at the keys; must return at once."""


class TerminalOperator(Operator):
    """Prints each request and reads the answer from standard input.

    At a terminal, what was typed before the request could be read is discarded. The lines of a
    pipe or a file answer the requests in their order.
    """

    reading_time_s = _READING_TIME_S

    def __init__(self, display: Display, name: str | None = None) -> None:
        """`name`: by which records name them; by default the account's."""
        self.name = name or account_name()
        self.display = display

    @property
    def follows_cues(self) -> bool:
        """Whether cues are seen as they come: at a terminal, where the run is displayed.

        Lines of a pipe or a file answer requests, as ever.
        """
        drawn = not isinstance(self.display, PlainDisplay) and err().is_terminal
        return drawn and at_a_terminal()

    async def reply(self, request: Request, problem: str) -> str:
        """Print the request with its answers and return the line typed next.

        `problem`: why the last answer was not accepted, or empty. Raises UsageError where standard
        input has ended.
        """
        self.display.heed(request.text)
        rf, by_foot = self.display.rf, self.keyed_by_foot
        lines = _request_lines(request, problem, rf, by_foot=by_foot)
        with self.display.prompt([*lines, Text("> ")]):
            await _TIME.sleep(self.reading_time_s)
            discard_pending_input()
            show_typing()
            return await _typed_line()

    def cue(self, cue: Cue) -> None:
        """Show what is to be done next at the keys."""
        self.display.cue(cue)

    async def tell(self, words: str) -> None:
        """Print what is to be done at once, and sound the terminal's bell."""
        self.display.heed(words)
        self.display.notify(_told(words))

    def take_back(self, words: str) -> None:
        """Display no longer what was told."""
        self.display.take_back(_told(words))


async def _typed_line() -> str:
    """Return the next line. At a terminal the end of input is Ctrl-D, which stops the run."""
    try:
        return await read_line()
    except UsageError:
        if not at_a_terminal():
            raise
        stop_now("Ctrl-D was typed")
        await anyio.sleep_forever()
        raise


def _told(words: str) -> Text:
    return Text(f">> {words}", style=AT_ONCE)


def _request_lines(
    request: Request, problem: str, rf: RfState | None, *, by_foot: bool
) -> Iterator[Text]:
    if problem != "":  # may repeat what was typed, as the codes of an arrow key
        yield Text(printable(problem), style="bold")
    asked = Text(f">> {request.text}", style="bold")
    if words := rf_at_request(rf, follows=request.rf_follows, by_foot=by_foot):
        asked.append(f"  {words}", style=RF_WORDS)
    yield asked
    if isinstance(request, ValueRequest):
        yield Text(f"   {request.how_to_answer}", style="dim")
    for answer in request.answers:
        if answer.meaning != "":
            yield Text(f"   {_how_to_type(answer)}: {answer.meaning}")
    own = ", ".join(_how_to_type(answer) for answer in request.answers if answer.meaning == "")
    always = ", ".join(beside_its_own(request))
    yield Text(f"   {own}  (or {always})" if own else f"   (or {always})", style="dim")


def _how_to_type(answer: Answer) -> str:
    """Return `key = word`, or the word where the answer has no key."""
    return answer.word if answer.key == "" else f"{answer.key} = {answer.word}"


class PlainDisplay:
    """Prints a request to standard error; has no RF state."""

    rf: RfState | None = None

    @contextmanager
    def prompt(self, question: Sequence[Text]) -> Iterator[None]:
        """Print `question`, cursor after its last line; typing is not shown before it is read."""
        with unechoed():
            for line in question[:-1]:
                err().print(line)
            err().print(question[-1], end="")
            yield

    def notify(self, words: Text) -> None:
        """Print the words to standard error, with the bell."""
        err().print(words)
        err().bell()

    def take_back(self, words: Text) -> None:
        """Do nothing: what was printed is not drawn anew."""

    def heed(self, words: str) -> None:
        """Do nothing: the bell of `notify` is all that is heard."""

    def cue(self, cue: Cue) -> None:
        """Do nothing: where nothing is drawn, presses are asked for by requests."""
