"""How a bench stands at one moment: what may be shown to a person while a run goes on."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal, NamedTuple

RfState = Literal["off", "coming on", "on", "going off", "unknown"]
"""`going off`: OFF is being sent, and is not read back yet."""


class TargetBand(NamedTuple):
    """Where the current should be, in mA."""

    lower_ma: float
    target_ma: float
    upper_ma: float


class BenchStatus(NamedTuple):
    """RF as last read, and the figures that belong to it; true at `bench_s` and not for long."""

    rf: RfState
    bench_s: float
    """The bench clock's time at which it was so."""
    rest_left_s: float | None = None
    """RF off: how much of a rest is left; None where none is kept."""
    age_s: float | None = None
    """RF on: age of the activation."""
    left_s: float | None = None
    """RF on: what is left of its limit."""
    current_ma: float | None = None
    """RF on: the reading that has just come; None before the first."""
    aim: TargetBand | None = None
    """What the reading is held against; None where nothing is."""


OnStatus = Callable[[BenchStatus], None]
"""Told each reading and each second of a rest; must return at once, for RF may be on."""


def ignore_status(_: BenchStatus) -> None:
    """Nobody looks."""
