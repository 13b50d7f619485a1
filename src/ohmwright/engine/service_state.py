"""Service mode as a run has brought the unit into it: what was moved there and is not stored."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from ohmwright.adjustment.actions import Move, Press
from ohmwright.instruments.generator import Key
from ohmwright.instruments.requests import press_text


@dataclass
class ServiceState:
    """One adjustment point at work."""

    point: str
    by_hand: bool
    counts: int = 0
    """Moved by port and not stored."""
    presses: Counter[Key] = field(default_factory=Counter)
    """Confirmed by a person and not stored; down is negative."""
    asked: str = ""
    """What a person was asked there and has not answered."""

    @property
    def moved(self) -> bool:
        """Whether anything is to be undone."""
        return self.counts != 0 or any(self.presses.values())

    def note(self, action: Move | Press) -> None:
        """Something was moved."""
        if isinstance(action, Press):
            self.presses[action.key] += action.times
        else:
            self.counts += action.counts

    def stored(self) -> None:
        """The unit has kept what was moved."""
        self.counts, self.presses = 0, Counter()

    @property
    def undone(self) -> str:
        """What a person is told once the unit has left service mode by port."""
        if not self.moved:
            return ""
        return (
            "The unit has left service mode by port, without saving: what was moved at adjustment "
            f"point {self.point} and not stored is undone by that."
        )

    @property
    def to_undo(self) -> str:
        """What a person must know and do when the run ends here and cannot undo it."""
        where = f"The unit may still be in service mode at adjustment point {self.point}."
        if not self.by_hand:
            return f"{where} It did not take the command to leave. Leave it there without saving."
        done, undo = _listed(self.presses, 1), _listed(self.presses, -1)
        pressed = f" Confirmed there and not stored: {done} To undo that: {undo}" if done else ""
        asked = f' Asked and not answered, so look whether it was done: "{self.asked}"'
        return (
            f"{where}{pressed}{asked if self.asked else ''} "
            "Or leave service mode without saving; that undoes whatever was pressed there."
        )


def _listed(presses: Counter[Key], sign: int) -> str:
    return " ".join(press_text(key, sign * n) for key, n in presses.items() if n != 0)
