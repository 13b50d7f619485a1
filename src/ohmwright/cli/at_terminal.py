"""The person who sits at the terminal."""

from __future__ import annotations

from collections.abc import Iterator

from rich.text import Text

from ohmwright.instruments.operator import ALWAYS, Answer, Operator, Request
from ohmwright.model.account import account_name
from ohmwright.wire.clock import RealClock

from .console import err
from .keyboard import discard_typed, next_line

_READING_S = 0.3
"""Nobody has read a request sooner; what is typed before cannot be meant for it."""
_TIME = RealClock()
"""A person's time, whatever clock the bench has."""


class PersonAtTerminal(Operator):
    """Reads each request on the screen and answers with the keyboard.

    At a terminal, what was typed before the request could be read is thrown away. A pipe's
    or a file's lines answer the requests in their order.
    """

    reading_s = _READING_S

    def __init__(self) -> None:
        self.name = account_name()

    async def reply(self, request: Request, problem: str) -> str:
        """Show the request with its answers; return the line that is typed from then on."""
        if problem != "":
            err().print(Text(problem, style="yellow"))
        for line in _shown(request):
            err().print(line)
        err().print("> ", end="")
        await _TIME.sleep(self.reading_s)
        discard_typed()
        return await next_line()


def _shown(request: Request) -> Iterator[Text]:
    asked = Text(f">> {request.text}", style="bold")
    if request.rf_follows:
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
