"""Requests of a procedure that a person answers by a figure, by words, or by a choice."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import NamedTuple

from ohmwright.model.tolerance import Target

from .requests import NO, YES, Answer, ValueRequest, is_reserved

_FIGURE = re.compile(r"([<>]?)\s*(\d{1,9}(?:[.,]\d{1,9})?)\s*([^\s\d.,]{0,12})")
"""A bound or none, the digits, a unit or none, in which no digit and no decimal sign stands."""
_THOUSANDS = re.compile(r"[1-9]\d{0,2},\d{3}")
"""Digits that may be meant as thousands, or with three decimals."""
LONGEST_WORDS = 200
_HARDLY_MEANT = 10.0
"""How many times beyond its limit a figure is that rather has another unit; common practice."""


class TypedFigure(NamedTuple):
    """A figure as it was typed, in the unit that was asked for."""

    beyond: str
    """`>` where the other instrument shows only that it is more, `<` that it is less, or empty."""
    digits: str
    """As they were typed, with a decimal point."""

    @property
    def value(self) -> float:
        """The number that was typed."""
        return float(self.digits)


@dataclass(frozen=True)
class BeSureOfFigure:
    """Say whether a figure far beyond its limit is meant as it was typed."""

    typed: str
    limit: float
    unit: str
    rf_follows: bool = False
    answers: tuple[Answer, ...] = (
        Answer(YES.word, YES.key, "it shows so, in this unit: it is recorded as a fail"),
        Answer(NO.word, NO.key, "it was mistyped, or is in another unit: type it again"),
    )

    @property
    def text(self) -> str:
        """What the person reads."""
        typed, limit = (
            f"{figure} {self.unit}".rstrip() for figure in (self.typed, _plain(self.limit))
        )
        return f"{typed} was typed, and the limit is {limit}. Does the instrument show {typed}?"


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
        unit = self.target.unit or "plain figures"
        return f"in {unit}, as 0.12; or as >2000, where the instrument's range ends"

    def answer(self, said: str) -> Answer | None:
        """Return the figure without its unit; None where it is not taken."""
        typed = self.typed(said)
        return None if typed is None else Answer(f"{typed.beyond}{typed.digits}")

    def problem(self, said: str) -> str:
        """Return why it is not taken."""
        found, shown = self._found(said), said.strip()[:40]
        if found is None:
            return (
                f"'{shown}' is no figure: type it {self.how_to_answer}, with 0 to 9 and without a "
                "sign for thousands."
            )
        if not self._has_this_unit(found):
            return f"'{found[3]}' is not the unit asked for: type it {self.how_to_answer}."
        if _THOUSANDS.fullmatch(found[2]):
            return f"'{shown}' may be meant as thousands: type it without a comma."
        return f"'{shown}' cannot be held against the limits: change the range."

    def typed(self, said: str) -> TypedFigure | None:
        """Return what was typed; None for no figure in this unit, or one that decides nothing."""
        found = self._found(said)
        if found is None or not self._has_this_unit(found) or _THOUSANDS.fullmatch(found[2]):
            return None
        typed = TypedFigure(found[1], found[2].replace(",", "."))
        return typed if self._decides(typed) else None

    def to_be_sure(self, said: str) -> BeSureOfFigure | None:
        """Return what is asked about a figure that is taken; None for one that may well be meant.

        Far beyond its limit a figure is rather in another unit. A bound is where a range ends.
        """
        typed, target = self.typed(said), self.target
        if typed is None or typed.beyond:
            return None
        if typed.value > _HARDLY_MEANT * target.upper:
            limit = target.upper
        elif typed.value < target.lower / _HARDLY_MEANT:
            limit = target.lower
        else:
            return None
        return BeSureOfFigure(typed.digits, limit, target.unit, self.rf_follows)

    @property
    def in_order(self) -> str:
        """A figure well inside the limits, for a simulated person."""
        target = self.target
        if target.lower_only:
            return _plain(2 * target.lower)
        return _plain((max(0.0, target.lower) + target.upper) / 2)

    def _found(self, said: str) -> re.Match[str] | None:
        """The parts of a figure in any unit or in none; None where it is no such figure."""
        return _FIGURE.fullmatch(said.strip())

    def _has_this_unit(self, found: re.Match[str]) -> bool:
        """Whether a figure has the unit asked for, or none."""
        return not found[3] or self._is_unit(found[3])

    def _is_unit(self, word: str) -> bool:
        """Whether `word` is the unit, in any case; but M is mega and m is milli."""
        plain = word.replace("Ω", "ohm").replace("µ", "u").replace("μ", "u")
        unit = self.target.unit
        return plain.casefold() == unit.casefold() and {plain[0], unit[0]} != {"m", "M"}

    def _decides(self, typed: TypedFigure) -> bool:
        """Whether it is a value, or a bound beyond which every value passes or none does."""
        lower, upper, value = self.target.lower, self.target.upper, typed.value
        if typed.beyond == ">":
            return value > upper or (self.target.lower_only and value >= lower)
        if typed.beyond == "<":
            return value < lower or (lower <= 0 and value <= upper)
        return True


def _plain(value: float) -> str:
    """Return a number in digits alone, without an exponent."""
    return f"{value:.9f}".rstrip("0").rstrip(".")


@dataclass(frozen=True)
class TypeText(ValueRequest):
    """Write something down in words."""

    text: str
    rf_follows: bool = False
    answers: tuple[Answer, ...] = ()
    how_to_answer: str = "in words"

    def answer(self, said: str) -> Answer | None:
        """Return the words; None for none or too many, or where they begin with a reserved one."""
        words = said.strip()
        fits = 0 < len(words) <= LONGEST_WORDS and words.isprintable()
        if not fits or is_reserved(words):
            return None
        return Answer(words)

    def problem(self, said: str) -> str:
        """Return why the words are not taken."""
        if is_reserved(said.strip()):
            return f"'{said.strip()[:40]}' begins as an order to the program: begin it otherwise."
        return f"Write something in one line, {LONGEST_WORDS} characters at most."


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
