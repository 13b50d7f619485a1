"""The state of a bench at one moment, as a person may be shown it while a run goes on."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal, NamedTuple

from .cue import Cue

RfState = Literal["off", "not proved", "coming on", "on", "going off", "unknown"]
"""`going off`: OFF is being sent, and is not read back yet. `not proved`: no current is read, which
is no proof of off yet; see `RfMonitor.proves_off`."""


class TargetBand(NamedTuple):
    """The target of the current and its limits, in mA."""

    lower_ma: float
    target_ma: float
    upper_ma: float


class BenchStatus(NamedTuple):
    """RF as last read and the figures that belong to it, at the moment `bench_s`."""

    rf: RfState
    bench_s: float
    """Seconds of the bench's clock at that moment."""
    rest_left_s: float | None = None
    """RF off: seconds of the rest still to come; None where there is none."""
    age_s: float | None = None
    """RF on: age of the activation in seconds."""
    left_s: float | None = None
    """RF on: seconds until the time limit of the activation."""
    current_ma: float | None = None
    """RF on: the latest reading; None before the first."""
    aim: TargetBand | None = None
    """The limits for the reading; None where it has none."""
    keyed_by_foot: bool = False
    """Whether a person keeps RF on, and must let go at the limit."""
    read_by_eye: bool = False
    """Whether a person types the readings, so that all of this is as they told it."""
    read_ago_s: float = 0.0
    """How long before that moment RF was read, by an instrument or a person; `coming on` and `going
    off` say what was commanded since."""
    digit_ma: float | None = None
    """The last digit of the meter's readings; None where it is not known."""
    on_s: float = 0.0
    """How long RF was on at most since the run was begun or resumed, in seconds, by the activations
    that have ended, whether or not their events have come yet."""
    on_at_s: float | None = None
    """Since when RF may be on besides, in seconds of the bench's clock; None where it was read as
    off after every activation."""
    cue: Cue | None = None
    """What the person at the keys is told now; None where nobody is told anything."""


OnStatus = Callable[[BenchStatus], None]
"""Called with each reading and each second of a rest; must return at once, for RF may be on."""


def ignore_status(_: BenchStatus) -> None:
    """An `OnStatus` that shows nothing."""
