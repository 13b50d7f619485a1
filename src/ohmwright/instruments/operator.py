"""The person at the bench: carries out requests, and may always stop, go back, skip or comment.

A request takes its own named answers and nothing else; what else a person says is heard here, in
one place, for every operator.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable

from .requests import Answer, Request


class Interjection(Exception):  # noqa: N818 - no error: a person has said so
    """A person does not answer the request but decides how the run goes on."""


class StopRun(Interjection):
    """The run is to end here; it can be resumed."""


class GoBack(Interjection):
    """What was done before is to be done again."""


class SkipStep(Interjection):
    """The step is not to be done; its results are `not measured`, with `reason`."""

    def __init__(self, reason: str) -> None:
        self.reason = reason
        super().__init__(reason)


OnAnswer = Callable[[str, str, str], None]
"""Told of each question: its text, what was said to it, and the words that came with that."""
NO_ANSWER = "no answer"
NOT_ANSWERS = ("comment", "skip", "back", "stop", NO_ANSWER)
"""What `on_answer` is told that is no answer of the request's own."""
ALWAYS = (
    Answer("#TEXT", meaning="a comment for the record"),
    Answer("skip REASON"),
    Answer("back"),
    Answer("stop"),
)
"""What can be said to every request beside its own answers."""


def ignore(question: str, answer: str, words: str) -> None:
    """Listen to nothing."""


class Operator(ABC):
    """Carries out requests: a person at a terminal, or a simulated one."""

    name: str
    present: bool = True
    on_answer: OnAnswer = staticmethod(ignore)
    """Told of everything that is said, at once; must return at once."""

    @abstractmethod
    async def reply(self, request: Request, problem: str) -> str:
        """Ask, and return what was typed. `problem`: why the last reply was not taken, if any.

        Nothing may be returned that was typed before the request could be read.
        Raises OutOfCapability when nobody is there to do it.
        """

    async def carry_out(self, request: Request) -> Answer:
        """Ask until one of the request's own answers is given; return that.

        Raises StopRun, GoBack or SkipStep where the person says so. Whatever is said is told to
        `on_answer`, also that nothing was: a wait that was given up is `NO_ANSWER`.
        """
        problem, open_question = "", True
        try:
            while True:
                said = await self.reply(request, problem)
                answer = _own(request, said)
                if answer is not None:
                    open_question = False
                    self.on_answer(request.text, answer.word, "")
                    return answer
                try:
                    problem = self._heard(request, said)
                except Interjection:
                    open_question = False
                    raise
        finally:
            if open_question:
                self.on_answer(request.text, NO_ANSWER, "")

    def _heard(self, request: Request, said: str) -> str:
        """Act on what can be said to every request; return why it is to be asked again."""
        word, _, words = said.strip().partition(" ")
        words = words.strip()
        if word.startswith("#"):
            word, words = "comment", said.strip()[1:].strip()
        match word.casefold():
            case "comment" if words != "":
                self.on_answer(request.text, "comment", words)
                return "Your comment is on record."
            case "skip" if words != "":
                self.on_answer(request.text, "skip", words)
                raise SkipStep(f"skipped by {self.name}: {words}")
            case "skip":
                return "To skip, give the reason: skip REASON."
            case "back" if words == "":
                self.on_answer(request.text, "back", "")
                raise GoBack
            case "stop" if words == "":
                self.on_answer(request.text, "stop", "")
                raise StopRun
        return f"'{said.strip()}' is none of the answers."


def _own(request: Request, said: str) -> Answer | None:
    """The request's own answer that was given, if one was."""
    typed = said.strip().casefold()
    fitting = (a for a in request.answers if typed != "" and typed in (a.word, a.key))
    return next(fitting, None)
