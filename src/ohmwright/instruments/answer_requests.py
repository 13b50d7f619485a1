"""Requests of a procedure that a person answers by a figure, by words, or by a choice."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import NamedTuple

from ohmwright.model.tolerance import Target

from .requests import Answer, ValueRequest

_FIGURE = re.compile(r"([<>]?)\s*(\d{1,9}(?:[.,]\d{1,9})?)\s*(\S{0,12})")
LONGEST_WORDS = 200


class TypedFigure(NamedTuple):
    """A figure as it was typed, in the unit that was asked for."""

    value: float
    beyond: str
    """`>` where the other instrument shows only that it is more, `<` that it is less; else empty"""


@dataclass(frozen=True)
class TypeFigure(ValueRequest):
    """Type a figure that another instrument shows."""

    text: str
    target: Target
    rf_follows: bool = False
    answers: tuple[Answer, ...] = ()

    @property
    def how_to_answer(self) -> str:
        """The forms in which it may be typed."""
        return f"in {self.target.unit or 'plain figures'}, as 0.12; or as >2000, if it ends there"

    def answer(self, said: str) -> Answer | None:
        """Return the figure without its unit; None where it is none."""
        typed = self.typed(said)
        return None if typed is None else Answer(f"{typed.beyond}{_digits(said)}")

    def problem(self, said: str) -> str:
        """Return why it is no figure that can be held against the limits."""
        found = _FIGURE.fullmatch(said.strip())
        if found is not None and found[1]:
            return f"'{said.strip()}' cannot be held against both limits: change the range."
        return f"'{said.strip()[:40]}' is no figure: type it {self.how_to_answer}."

    def typed(self, said: str) -> TypedFigure | None:
        """Return what was typed; None for another unit, or a bound that decides nothing."""
        found = _FIGURE.fullmatch(said.strip())
        if found is None or (found[3] and not self._is_unit(found[3])):
            return None
        decides = {">": self.target.lower_only, "<": self.target.one_sided, "": True}
        if not decides[found[1]]:
            return None
        return TypedFigure(float(found[2].replace(",", ".")), found[1])

    @property
    def in_order(self) -> str:
        """A figure well inside the limits, for a simulated person."""
        target = self.target
        if target.lower_only:
            return f"{2 * target.lower:g}"
        low = max(0.0, target.lower)
        return f"{(low + target.upper) / 2:g}"

    def _is_unit(self, word: str) -> bool:
        plain = word.replace("Ω", "ohm").replace("µ", "u").replace("μ", "u")
        return plain.casefold() == self.target.unit.casefold()


def _digits(said: str) -> str:
    found = _FIGURE.fullmatch(said.strip())
    return "" if found is None else found[2].replace(",", ".")


@dataclass(frozen=True)
class TypeText(ValueRequest):
    """Write something down in words."""

    text: str
    rf_follows: bool = False
    answers: tuple[Answer, ...] = ()
    how_to_answer: str = "in words"

    def answer(self, said: str) -> Answer | None:
        """Return the words; None for none, too many, or one of those that every request takes."""
        words = said.strip()
        reserved = words.startswith("#") or words.partition(" ")[0].casefold() in _RESERVED
        if not words or reserved or len(words) > LONGEST_WORDS or not words.isprintable():
            return None
        return Answer(words)

    def problem(self, said: str) -> str:  # noqa: ARG002
        """Return that it is empty or too long."""
        return f"Write something, {LONGEST_WORDS} characters at most."


_RESERVED = ("skip", "back", "stop", "comment")


@dataclass(frozen=True)
class ChooseWord:
    """Choose one of several words."""

    text: str
    words: tuple[str, ...]
    rf_follows: bool = False

    @property
    def answers(self) -> tuple[Answer, ...]:
        """Each word, or its number."""
        return tuple(Answer(word, str(place)) for place, word in enumerate(self.words, 1))

    def answer(self, said: str) -> Answer | None:
        """Return the word that was said, or whose number was."""
        wanted = said.strip().casefold()
        return next((one for one in self.answers if wanted in (one.word, one.key)), None)

    def problem(self, said: str) -> str:
        """Return which words there are."""
        return f"'{said.strip()[:40]}' is none of: {', '.join(self.words)}."


AnswerRequest = TypeFigure | TypeText | ChooseWord
