"""What an adjusting policy can ask for next; the loop that carries it out owns clock and port."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Activate:
    """Switch RF on."""


@dataclass(frozen=True)
class Sample:
    """Take the next reading."""


@dataclass(frozen=True)
class Move:
    """Move the trim by so many counts, with RF on or off as it is."""

    counts: int


@dataclass(frozen=True)
class Press:
    """Press a key so many times; negative is the key that counts down."""

    key: Literal["coarse", "fine"]
    times: int


@dataclass(frozen=True)
class Release:
    """Switch RF off and rest for at least so long."""

    rest_s: float


@dataclass(frozen=True)
class Finish:
    """The end, with RF off: what the point is, and why if it did not pass.

    `value`, its standard `uncertainty` and `dof`: the confirmation's; None when there was none.
    """

    verdict: Literal["pass", "undecided", "not adjustable"]
    reason: str = ""
    value: float | None = None
    uncertainty: float | None = None
    dof: float | None = None


Action = Activate | Sample | Move | Press | Release | Finish
