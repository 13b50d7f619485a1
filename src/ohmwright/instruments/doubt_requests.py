"""The requests to a person where something is in doubt: no output, another one, a load refused."""

from __future__ import annotations

from dataclasses import dataclass

from .requests import Answer

AGAIN = Answer("again", "a", "found and mended: measure again")
UNKNOWN = Answer("unknown", "u", "cannot be told now: it is recorded as not measured")
WITHOUT = Answer("without", "w", "go on without it: it is recorded as not measured")
DEAD = Answer("dead", meaning="all of that is in order: it is the unit")
JOINED = Answer("joined", "j", "it is joined, and nothing leaks")
RIGHT = Answer("right", "r", "all of that is so")
CORRECTED = Answer(
    "corrected",
    "c",
    "it was not, and is now; where it was wrong before, too, go back when asked next",
)


@dataclass(frozen=True)
class LookForCause:
    """No output was seen where there should be some: is it the unit, or how it is connected?"""

    seen: str
    look: str
    """What to look at, as a request."""
    confirmed: Answer = DEAD
    """What is answered when all that is in order."""
    rf_follows: bool = True

    @property
    def text(self) -> str:
        """What the person reads."""
        return f"{self.seen[0].upper()}{self.seen[1:]}. Please {self.look}."

    @property
    def answers(self) -> tuple[Answer, ...]:
        """Mended, in order, or unknown."""
        return AGAIN, self.confirmed, UNKNOWN


@dataclass(frozen=True)
class MendLoad:
    """The analyzer did not connect a load resistance."""

    place: str
    """Step and point that need it, in words."""
    load_ohm: float
    said: str
    """What the analyzer said, as a sentence."""
    answers: tuple[Answer, ...] = (AGAIN, WITHOUT)
    rf_follows: bool = True

    @property
    def text(self) -> str:
        """What the person reads."""
        return (
            f"{self.place}: the analyzer did not connect {self.load_ohm:g} ohm. {self.said} "
            "Please look at the analyzer and its load bank."
        )


@dataclass(frozen=True)
class LookAtPanel:
    """The output is far from what was asked for: is it set so, and measured where it should be?"""

    seen: str
    wanted: str
    """Mode and setting, in words."""
    answers: tuple[Answer, ...] = (RIGHT, CORRECTED, UNKNOWN)
    rf_follows: bool = True

    @property
    def text(self) -> str:
        """What the person reads."""
        seen = f"{self.seen[0].upper()}{self.seen[1:]}"
        asked = "and are lead and load those that were asked for"
        return f"{seen}. Does the panel say {self.wanted}, {asked}?"
