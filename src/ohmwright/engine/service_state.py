"""The moves made in service mode that the unit has not stored, and how they are undone."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from ohmwright.adjustment.actions import Move, Press
from ohmwright.instruments.generator import Key
from ohmwright.instruments.requests import press_text

_MAY_BE_STORED = (
    "the unit was told to store that, and did not read back as having done so: it may keep it. "
    "Measure the unit before it leaves the bench."
)


@dataclass
class ServiceState:
    """Service mode at one adjustment point: what was moved and not stored, and by whom."""

    point: str
    by_hand: bool
    """Whether a person presses keys; else the trim is moved by port."""
    counts: int = 0
    """Sum of the counts moved by port and not stored."""
    presses: Counter[Key] = field(default_factory=Counter)
    """Presses by key that a person confirmed, or the meter showed, and the unit has not stored;
    down is negative."""
    unanswered_request: str = ""
    """Text of the last request at this point that a person has not answered; else empty."""

    cued: str = ""
    """Presses that were cued and have not shown yet, in words; else empty."""
    told_to_store: bool = False
    """Whether the unit was told to store the moves, and has not been seen to have done so."""

    @property
    def has_unstored_moves(self) -> bool:
        """Whether there is, or may be, something to be undone."""
        return self.counts != 0 or any(self.presses.values()) or self.cued != ""

    def add_move(self, action: Move | Press) -> None:
        """Add a move or presses that were carried out."""
        if isinstance(action, Press):
            self.presses[action.key] += action.times
        else:
            self.counts += action.counts

    def mark_stored(self) -> None:
        """Forget all moves: the unit has stored them."""
        self.counts, self.presses, self.cued = 0, Counter(), ""
        self.told_to_store = False

    @property
    def undone_text(self) -> str:
        """What a person is told once the unit has left service mode by port; may be empty."""
        if not self.has_unstored_moves:
            return ""
        if self.told_to_store:
            return f"The unit has left service mode by port.{self._moved}"
        return (
            "The unit has left service mode by port, without saving: what was moved at adjustment "
            f"point {self.point} and not stored is undone by that."
        )

    @property
    def instructions_to_undo(self) -> str:
        """What a person must know and do where the run ends here and cannot undo the moves."""
        where = f"The unit may still be in service mode at adjustment point {self.point}."
        if not self.by_hand:
            return (
                f"{where}{self._moved} It did not take the command to leave. Leave it there "
                "without saving."
            )
        undo = _press_texts(self.presses, -1)
        pressed = f"{self._moved} To undo that: {undo}" if undo else ""
        leave = "Or leave" if undo else "Leave"
        request = self.unanswered_request or self.cued
        asked = f' Asked and not answered, so look whether it was done: "{request}"'
        return (
            f"{where}{pressed}{asked if request else ''} "
            f"{leave} service mode without saving; that undoes whatever was pressed there and not "
            "saved."
        )

    @property
    def switched_off_text(self) -> str:
        """What a person is told where RF may be on, and the mains switch has to end it."""
        return (
            f"The unit may still be in service mode at adjustment point {self.point}.{self._moved} "
            "Nothing was sent to it, since RF may be on. Its mains switch undoes what it has not "
            "stored."
        )

    @property
    def _moved(self) -> str:
        """What was moved and is not stored, as a sentence after a space; empty where nothing."""
        if done := _press_texts(self.presses, 1):
            return f" Confirmed or shown by the meter, and not stored: {done}"
        if not self.counts:
            return ""
        stored = _MAY_BE_STORED if self.told_to_store else "not stored."
        return f" Its trim was moved by {self.counts:+d} counts; {stored}"


def _press_texts(presses: Counter[Key], sign: int) -> str:
    """Return the requests to press each key as often as it was (sign 1), or to undo it (-1)."""
    return " ".join(press_text(key, sign * n) for key, n in presses.items() if n != 0)
