"""What an adjusting policy can ask for; whoever owns the clock and the ports carries it out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Activate:
    """Switch RF on."""


@dataclass(frozen=True)
class TakeReading:
    """Take the next reading."""


@dataclass(frozen=True)
class Move:
    """Move the trim by `counts`, with RF on or off as it is."""

    counts: int


@dataclass(frozen=True)
class Press:
    """Have a key pressed `times` times; negative is the key that counts down."""

    key: Literal["coarse", "fine"]
    times: int


@dataclass(frozen=True)
class Release:
    """Switch RF off, if it is on, and rest for at least `rest_s`."""

    rest_s: float


@dataclass(frozen=True)
class Finish:
    """The end of the adjustment, with RF off, and how it ended.

    `reason`: why nothing was confirmed, or what is to be said of a trim without effect whose output
    was. `left`: where the trim was left and why there; empty where it was not moved, or confirmed.
    `value`, its standard `uncertainty` and `dof`: the confirmation's, in the unit of the readings;
    None where nothing was confirmed; `back_at_start`: whether an adjustment without a confirmation
    brings the trim back to its start.
    """

    ended: Literal["confirmed", "undecided", "not adjustable"]
    reason: str = ""
    value: float | None = None
    uncertainty: float | None = None
    dof: float | None = None
    left: str = ""
    back_at_start: bool = False


Action = Activate | TakeReading | Move | Press | Release | Finish
