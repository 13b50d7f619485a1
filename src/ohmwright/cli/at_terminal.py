"""The person who sits at the terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from typing import Protocol

from rich.text import Text

from ohmwright.instruments.operator import ALWAYS, Operator
from ohmwright.instruments.requests import Answer, Request
from ohmwright.model.account import account_name
from ohmwright.model.bench_status import RfState
from ohmwright.wire.clock import RealClock

from .console import err
from .keyboard import discard_typed, next_line

_READING_S = 0.3
"""Nobody has read a request sooner; what is typed before cannot be meant for it."""
_TIME = RealClock()
"""A person's time, whatever clock the bench has."""


class Screen(Protocol):
    """Where requests are shown."""

    @property
    def rf(self) -> RfState | None:
        """RF as it was last told; None where nobody tells."""

    def asking(self, question: Sequence[Text]) -> AbstractContextManager[None]:
        """Show `question`, its last line open, and leave the keyboard to it within the block."""


class PersonAtTerminal(Operator):
    """Reads each request on the screen and answers with the keyboard.

    At a terminal, what was typed before the request could be read is thrown away. A pipe's
    or a file's lines answer the requests in their order.
    """

    reading_s = _READING_S

    def __init__(self, screen: Screen) -> None:
        self.name = account_name()
        self.screen = screen

    async def reply(self, request: Request, problem: str) -> str:
        """Show the request with its answers; return the line that is typed from then on."""
        with self.screen.asking([*_shown(request, problem, self.screen.rf), Text("> ")]):
            await _TIME.sleep(self.reading_s)
            discard_typed()
            return await next_line()


def _shown(request: Request, problem: str, rf: RfState | None) -> Iterator[Text]:
    if problem != "":
        yield Text(problem, style="yellow")
    asked = Text(f">> {request.text}", style="bold")
    if rf == "on":
        asked.append("  RF IS ON.", style="bold red")
    elif request.rf_follows:
        asked.append("  RF comes on after this.", style="bold red")
    yield asked
    for answer in request.answers:
        if answer.meaning != "":
            yield Text(f"   {_typed(answer)}: {answer.meaning}")
    own = ", ".join(_typed(answer) for answer in request.answers if answer.meaning == "")
    always = ", ".join(answer.word for answer in ALWAYS)
    yield Text(f"   {own}  (or {always})" if own else f"   (or {always})", style="dim")


def _typed(answer: Answer) -> str:
    return answer.word if answer.key == "" else f"{answer.key} = {answer.word}"


class PlainScreen:
    """Prints a request, and knows nothing of RF."""

    rf: RfState | None = None

    @contextmanager
    def asking(self, question: Sequence[Text]) -> Iterator[None]:
        """Print `question`."""
        for line in question[:-1]:
            err().print(line)
        err().print(question[-1], end="")
        yield
