"""The requests to a person who does the analyzer's part: knobs, foot switch and typed readings."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import NamedTuple

from ohmwright.model.hardware import MeterData

from .doubt_requests import WITHOUT
from .requests import DONE, Answer, Request, ValueRequest

FEWEST_TYPED = 4
"""So many typed readings make a value at least (page `by_hand` of the guide)."""
PRESSED = Answer("pressed", "p")
SHOWN_NOW = "does the meter show now?"
"""The end of each question for a reading with RF on."""
SHOWN_WITH_RF_OFF = "RF and the foot switch are to be off now. What current does the meter show?"
"""The question for a reading with RF off."""
_OVER_RANGE = 1.1
"""No display counts further than so many times its range; common practice, no source."""
_TO_MA = {"": 1.0, "ma": 1.0, "a": 1000.0}
_READING = re.compile(r"(\d{1,6})(?:[.,](\d{1,6}))?\s*(mA|A|)", re.IGNORECASE)


@dataclass(frozen=True)
class ConnectLoad:
    """Set the load resistance by hand."""

    load_ohm: float
    answers: tuple[Answer, ...] = (DONE,)
    rf_follows: bool = True

    @property
    def text(self) -> str:
        """What the person reads."""
        return f"Set the analyzer's load resistance to {self.load_ohm:g} ohm."


@dataclass(frozen=True)
class ConnectContact:
    """Set the resistance between the halves of the neutral electrode by hand."""

    resistance_ohm: float
    answers: tuple[Answer, ...] = (DONE,)
    rf_follows: bool = False

    @property
    def text(self) -> str:
        """What the person reads."""
        return f"Set the contact quality resistance to {self.resistance_ohm:.4g} ohm."


@dataclass(frozen=True)
class PressFootSwitch:
    """Key the generator with its foot switch, and keep it pressed."""

    most_s: float
    answers: tuple[Answer, ...] = (PRESSED,)
    rf_follows: bool = True

    @property
    def text(self) -> str:
        """What the person reads."""
        return (
            "Foot switch: press it at the very moment of your answer (at a terminal Enter after p; "
            "on a page p alone, or its button). Hold it until you are told to release it, "
            f"{self.most_s:g} s at most."
        )


def rf_comes_on_after(request: Request, *, by_foot: bool) -> bool:
    """Return whether RF comes on after the answer; by a foot switch not before that is asked for.

    Whoever reads it of another request may press while load or mode is still another one.
    """
    return request.rf_follows and (not by_foot or isinstance(request, PressFootSwitch))


@dataclass(frozen=True)
class MeasureAgain:
    """Say whether a point is measured again whose typed readings gave no value."""

    why: str
    """Why they gave none, as a clause."""
    chosen: str
    """Mode and setting, in words."""
    answers: tuple[Answer, ...] = (Answer("again", "a", "measure it again"), WITHOUT)
    rf_follows: bool = True

    @property
    def text(self) -> str:
        """What the person reads."""
        return (
            f"{self.why[0].upper()}{self.why[1:]} at {self.chosen}: a value takes {FEWEST_TYPED} "
            "typed readings at least. Is it to be measured again?"
        )


class TypedCurrent(NamedTuple):
    """A current as a person has typed it."""

    current_ma: float
    digit_ma: float
    """The value of its last digit."""


@dataclass(frozen=True)
class TypeReading(ValueRequest):
    """Type what the meter shows now."""

    meter: MeterData
    quantity: str = "current"
    rf_to_be_off: bool = False
    answers: tuple[Answer, ...] = ()
    rf_follows: bool = False

    @property
    def text(self) -> str:
        """What the person reads."""
        if self.rf_to_be_off:
            return SHOWN_WITH_RF_OFF
        return f"What {self.quantity} {SHOWN_NOW}"

    @property
    def how_to_answer(self) -> str:
        """The forms in which a value may be typed."""
        return "as the meter shows it: 412, 412 mA or 0.412 A"

    def answer(self, said: str) -> Answer | None:
        """Return the value as an answer, in mA; None where it is none."""
        typed = typed_current(said)
        if typed is None or self._why_not(said, typed):
            return None
        words = said.strip()
        return Answer(words if words[-1].isalpha() else f"{words} mA")

    def problem(self, said: str) -> str:
        """Return why what was typed is no reading of this meter."""
        typed = typed_current(said)
        if typed is None:
            return f"'{said.strip()[:40]}' is no current: type it {self.how_to_answer}."
        return self._why_not(said, typed)

    def _why_not(self, said: str, typed: TypedCurrent) -> str:
        digit_ma, most_ma = self.meter.resolution_ma, _OVER_RANGE * self.meter.max_current_ma
        if typed.digit_ma < 0.99 * digit_ma:  # 1,234 mA may be meant as a thousand and as one
            return (
                f"'{said.strip()}' is {typed.current_ma:.10g} mA, finer than the meter's last "
                f"digit, {digit_ma:g} mA. Type it {self.how_to_answer}."
            )
        if typed.current_ma > most_ma:
            return f"The meter ends at {self.meter.max_current_ma:g} mA. Was A meant, or mA?"
        return ""


def typed_current(said: str) -> TypedCurrent | None:
    """Return a typed current; None where `said` is none. Without a unit it is in mA."""
    found = _READING.fullmatch(said.strip())
    if found is None:
        return None
    whole, decimals, unit = found.groups()
    to_ma, places = _TO_MA[unit.casefold()], len(decimals or "")
    return TypedCurrent(float(f"{whole}.{decimals or '0'}") * to_ma, to_ma / 10**places)
