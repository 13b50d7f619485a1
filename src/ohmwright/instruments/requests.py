"""The requests to a person at the bench, as data: each with its own named answers."""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import Literal, Protocol


@dataclass(frozen=True)
class Answer:
    """One answer that a request accepts."""

    word: str
    """As it is typed and as it is recorded."""
    key: str = ""
    """What may be typed instead."""
    meaning: str = ""
    """What it says, where the word alone does not."""


DONE = Answer("done", "d")
YES = Answer("yes", "y")
NO = Answer("no", "n")


class Request(Protocol):
    """Something a person is to do or to say."""

    @property
    def text(self) -> str:
        """What the person reads."""

    @property
    def answers(self) -> tuple[Answer, ...]:
        """The answers it accepts, beside those that every request accepts."""

    @property
    def rf_follows(self) -> bool:
        """Whether RF comes on after the answer without another request."""


class ValueRequest(ABC):
    """A request that is answered by a value instead of one of some words."""

    @property
    @abstractmethod
    def how_to_answer(self) -> str:
        """The forms in which the value may be typed."""

    @abstractmethod
    def answer(self, said: str) -> Answer | None:
        """Return what was typed as an answer; None where it is no value that is accepted."""

    @abstractmethod
    def problem(self, said: str) -> str:
        """Return why what was typed is no value that is accepted."""


@dataclass(frozen=True)
class SelectMode:
    """Choose mode and power setting on the front panel."""

    mode: str
    setting_w: float
    answers: tuple[Answer, ...] = (DONE,)
    rf_follows: bool = True

    @property
    def text(self) -> str:
        """What the person reads."""
        return f"Set the generator to {self.mode}, {self.setting_w:g} W."


@dataclass(frozen=True)
class EnterService:
    """Bring the unit into service mode at an adjustment point."""

    point: str
    answers: tuple[Answer, ...] = (DONE,)
    rf_follows: bool = True

    @property
    def text(self) -> str:
        """What the person reads."""
        return f"Enter service mode and choose adjustment point {self.point}."


@dataclass(frozen=True)
class PressKey:
    """Press the coarse or fine key a number of times."""

    key: Literal["coarse", "fine"]
    direction: Literal["up", "down"]
    presses: int
    answers: tuple[Answer, ...] = (DONE,)
    rf_follows: bool = True

    @property
    def text(self) -> str:
        """What the person reads."""
        return press_text(self.key, self.presses if self.direction == "up" else -self.presses)


def press_text(key: Literal["coarse", "fine"], presses: int) -> str:
    """The request for `presses` of a key in words; a negative number is down."""
    times = "once" if abs(presses) == 1 else f"{abs(presses)} times"
    return f"Press {key} {'up' if presses > 0 else 'down'} {times}."


ANOTHER = Answer("another", "a", "something else was pressed, or nobody knows: save nothing")
"""Of presses whose number nobody can tell."""


@dataclass(frozen=True)
class CountPresses:
    """How many presses of a request that was not answered in time were done."""

    pressed: PressKey
    rf_follows: bool = True

    @property
    def text(self) -> str:
        """What the person reads."""
        return f'RF is off again. How many of these had you done: "{self.pressed.text}"'

    @property
    def answers(self) -> tuple[Answer, ...]:
        """The numbers from 0 to all of the presses, or that it was something else."""
        numbers = (Answer(str(number)) for number in range(self.pressed.presses + 1))
        return (*numbers, ANOTHER)


@dataclass(frozen=True)
class ConnectPath:
    """Connect the analyzer's input to a circuit by hand."""

    path: Literal["OUTPUT", "LEAKAGE", "CQUALITY"]
    answers: tuple[Answer, ...] = (DONE,)
    rf_follows: bool = True

    @property
    def text(self) -> str:
        """What the person reads."""
        return f"Join the analyzer's input to {_CIRCUITS[self.path]}."


_CIRCUITS = {
    "OUTPUT": "the output circuit, with its load resistance",
    "LEAKAGE": "the HF leakage circuit, with its measuring resistance",
    "CQUALITY": "the contact quality circuit, between the halves of the neutral electrode",
}


@dataclass(frozen=True)
class StoreTrims:
    """Save the adjustment."""

    text: str = "Save the adjustment in the generator."
    answers: tuple[Answer, ...] = (DONE,)
    rf_follows: bool = False


@dataclass(frozen=True)
class LeaveService:
    """Return to normal use."""

    text: str = "Leave service mode."
    answers: tuple[Answer, ...] = (DONE,)
    rf_follows: bool = False


@dataclass(frozen=True)
class LeaveUnsaved:
    """Return to normal use without saving, so that what was moved is undone."""

    text: str = "Leave service mode WITHOUT saving: what was pressed here is not to be kept."
    answers: tuple[Answer, ...] = (DONE,)
    rf_follows: bool = False


LEFT_BEFORE_GOING_ON = LeaveUnsaved(
    "If the unit is still in service mode, leave it WITHOUT saving: what was pressed and not saved "
    "before the run was cut short is not to be kept."
)
"""Of a run that goes on; a unit that was switched off meanwhile has left it by itself."""
INTO_SERVICE = EnterService("").text.rstrip(" .")
"""How each request to enter service mode begins."""
OUT_OF_SERVICE = (LeaveService().text, LeaveUnsaved().text, LEFT_BEFORE_GOING_ON.text)
"""The requests to leave it."""


@dataclass(frozen=True)
class LookAtAlarm:
    """Say whether the contact quality alarm is on."""

    text: str = "Is the contact quality alarm on?"
    answers: tuple[Answer, ...] = (YES, NO)
    rf_follows: bool = False


@dataclass(frozen=True)
class Inspect:
    """A yes or no question from the procedure; yes is the good answer."""

    text: str
    answers: tuple[Answer, ...] = (YES, NO)
    rf_follows: bool = False


@dataclass(frozen=True)
class SayWhetherSameUnit:
    """Say whether the unit of a run that goes on is the one at the bench: nothing else tells it."""

    unit: str
    """Its tag, maker and model."""
    answers: tuple[Answer, ...] = (
        YES,
        Answer(NO.word, NO.key, "another one: the run ends here, and can go on with its unit"),
    )
    rf_follows: bool = False

    @property
    def text(self) -> str:
        """What the person reads."""
        return f"The run goes on with {self.unit}. Is that the unit at the bench, by its own label?"


PLATE_CHARACTERS = 4
"""So many characters of a serial number tell one unit of a fleet from another."""


@dataclass(frozen=True)
class ReadSerialPlate(ValueRequest):
    """Read the serial number from the unit itself; what is expected is not shown."""

    model: str
    rf_follows: bool = False
    answers: tuple[Answer, ...] = ()

    @property
    def text(self) -> str:
        """What the person reads."""
        return f"Read the plate of the {self.model} at the bench: what is its serial number?"

    @property
    def how_to_answer(self) -> str:
        """The forms in which it may be given."""
        return f"whole, typed or scanned, or its last {PLATE_CHARACTERS} characters"

    def answer(self, said: str) -> Answer | None:
        """Return what was read; None for less than is needed to tell units apart."""
        words = said.strip()
        if len(words) < PLATE_CHARACTERS or is_reserved(words):
            return None
        return Answer(words)

    def problem(self, said: str) -> str:
        """Return that it is too short."""
        return f"'{said.strip()}' is too short: give at least {PLATE_CHARACTERS} characters."


TO_BE_ANSWERED = (LeaveService, LeaveUnsaved, SayWhetherSameUnit, ReadSerialPlate)
"""What is asked until it is answered: no step can be left out or begun anew in its place."""
RESERVED = ("skip", "back", "stop", "comment")
"""The first words of what can be said to every request."""


def is_reserved(words: str) -> bool:
    """Return whether `words` begin as what can be said to every request."""
    return words.startswith("#") or words.partition(" ")[0].casefold() in RESERVED


@dataclass(frozen=True)
class BeReadyForRf:
    """Stand by at the generator's mains switch: RF follows, from a bench that is not proved yet."""

    text: str = (
        "RF at a low setting follows, on a bench that may not switch off. Is the unit disconnected "
        "from any patient, its output joined to the load, and a person at its mains switch?"
    )
    answers: tuple[Answer, ...] = (YES,)
    rf_follows: bool = True


NOT_YET = Answer("no", "n", "end the run here; it can be resumed")


@dataclass(frozen=True)
class LetRfComeOnAgain:
    """RF reads off after a warning that it may be on, by which somebody may be at the generator."""

    is_off: str
    """That it is off, and since when."""
    answers: tuple[Answer, ...] = (YES, NOT_YET)
    rf_follows: bool = True

    @property
    def text(self) -> str:
        """What the person reads."""
        return (
            f"After the warning came: {self.is_off}. Are all clear of the generator, and may RF "
            "come on again?"
        )


@dataclass(frozen=True)
class Instruct:
    """An instruction from the procedure, to be done before the run goes on."""

    text: str
    answers: tuple[Answer, ...] = (DONE,)
    rf_follows: bool = False
