"""Service mode as a run has brought the unit into it: what was moved there and is not stored."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from ohmwright.instruments.generator import Key
from ohmwright.instruments.operator import press_text
from ohmwright.metrology.actions import Move, Press


@dataclass
class InService:
    """One adjustment point at work."""

    point: str
    by_hand: bool
    counts: int = 0
    """Moved by port and not stored."""
    presses: Counter[Key] = field(default_factory=Counter)
    """Confirmed by a person and not stored; down is negative."""

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
    def to_undo(self) -> str:
        """What a person is told when nobody can be asked any more."""
        done = _listed(self.presses, 1)
        pressed = (
            "No press there was confirmed that is not stored."
            if done == ""
            else f"Confirmed there and not stored: {done} To undo it: {_listed(self.presses, -1)}"
        )
        return (
            f"The unit may still be in service mode at adjustment point {self.point}. {pressed} "
            "Or leave service mode without saving."
        )


def _listed(presses: Counter[Key], sign: int) -> str:
    return " ".join(press_text(key, sign * n) for key, n in presses.items() if n != 0)
