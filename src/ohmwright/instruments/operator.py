"""The person at the bench: carries out requests, and may always stop, go back, skip or comment.

A request takes its own named answers and nothing else. Whatever else a person says is handled here,
in one place, for every kind of operator.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Awaitable, Callable
from functools import partial

from ohmwright.model.cue import Cue
from ohmwright.model.errors import OutOfCapability

from .requests import RESERVED, TO_BE_ANSWERED, Answer, Request, ValueRequest


class Interjection(Exception):  # noqa: N818 - no error: a person has said so
    """A person has not answered the request, but has decided how the run goes on."""


class StopRun(Interjection):
    """The run is to stop here; it can be resumed."""


class GoBack(Interjection):
    """The step before is to be done again."""


class SkipStep(Interjection):
    """The step is to be skipped; its results are `not measured`, with `reason`."""

    def __init__(self, reason: str) -> None:
        self.reason = reason
        super().__init__(reason)


OnAnswer = Callable[[str, str, str], None]
"""Called for each question with its text, the answer, and the words that came with it."""
NO_ANSWER = "no answer"
NOT_ANSWERS = (*RESERVED, NO_ANSWER)
"""Answers for `on_answer` that are none of the request's own."""


def beside_its_own(request: Request) -> tuple[str, ...]:
    """Return what a request accepts beside its own answers, as it is typed."""
    passes = () if isinstance(request, TO_BE_ANSWERED) else ("skip REASON", "back")
    return "#TEXT", *passes, "stop"


def ignore(question: str, answer: str, words: str) -> None:
    """An `OnAnswer` that does nothing."""


async def _by_itself(reply: Callable[[], Awaitable[str]]) -> str:
    return await reply()


class Operator(ABC):
    """Carries out requests: a person at a terminal, a simulated person, or nobody."""

    name: str
    present: bool = True
    keyed_by_foot: bool = False
    """Whether they key RF at this bench by a foot switch; else the program keys it."""
    on_answer: OnAnswer = staticmethod(ignore)
    """Called at once with everything that is said; must return at once."""
    wait_for: Callable[[Callable[[], Awaitable[str]]], Awaitable[str]] = staticmethod(_by_itself)
    """Waits for a reply; in a run it is looked meanwhile whether RF is off."""

    @property
    def follows_cues(self) -> bool:
        """Whether they see cues as they come and act on them.

        Else each press is asked for and confirmed.
        """
        return False

    @abstractmethod
    async def reply(self, request: Request, problem: str) -> str:
        """Show the request and return what was typed.

        `problem` tells why the last reply was not accepted, if any. Nothing may be returned that
        was typed before the request could be read. Raises OutOfCapability where nobody is there.
        """

    def cue(self, cue: Cue) -> None:  # noqa: B027 - most kinds are shown it by the bench's status
        """Take note of what is to be done next at the keys; must return at once.

        Called once for each new cue. By default nothing is done: `BenchStatus.cue` shows it.
        """

    async def tell(self, words: str) -> None:
        """Tell the person something that needs doing at once and no answer.

        Every kind of operator that runs at a bench must have this. Raises OutOfCapability.
        """
        raise OutOfCapability(
            f"The run needs a person: {words}",
            "Nobody is there to be told.",
            "Run it attended.",
        )

    def take_back(self, words: str) -> None:  # noqa: B027 - most kinds show nothing for longer
        """Show no longer what was told: it is done, or does not hold any more."""

    async def carry_out(self, request: Request) -> Answer:
        """Ask until one of the request's own answers is given; that answer.

        Raises StopRun, GoBack or SkipStep where the person says so. `on_answer` is called with all
        that is said; with `NO_ANSWER` where the wait was given up.
        """
        problem, open_question = "", True
        try:
            while True:
                said = await self.wait_for(partial(self.reply, request, problem))
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
        """Act on what can be said to every request; the reason why the request is asked again."""
        word, _, words = said.strip().partition(" ")
        words = words.strip()
        if word == "":
            return "Nothing was typed."
        if word.startswith("#"):
            word, words = "comment", said.strip()[1:].strip()
        match word.casefold():
            case "skip" | "back" if isinstance(request, TO_BE_ANSWERED):
                return f"'{word}' does not pass over this: it is asked until it is answered."
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
        if isinstance(request, ValueRequest):
            return request.problem(said)
        return f"'{said.strip()}' is none of the answers."


def _own(request: Request, said: str) -> Answer | None:
    """The request's own answer that was typed; None where it was none of them."""
    if isinstance(request, ValueRequest):
        return request.answer(said)
    typed = said.strip().casefold()
    fitting = (a for a in request.answers if typed != "" and typed in (a.word, a.key))
    return next(fitting, None)
