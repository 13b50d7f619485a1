"""One adjustment point: what is asked of its output, and how its trim is moved."""

from __future__ import annotations

from dataclasses import dataclass

from ohmwright.estimation.activation_record import Question

STATED_GAIN_RATIO = 1.5
"""A gain is not credible beyond this many times the stated one, unless the unit showed it beyond
doubt: parts have tolerances, and the law of a trim is not straight."""


@dataclass(frozen=True)
class Keys:
    """Keys that a person presses to move a trim; a fine press is one count.

    `coarse_counts`: nominal size of a coarse press; `coarse_sd`: its standard deviation, counts.
    """

    coarse_counts: int = 10
    coarse_sd: float = 1.3


@dataclass(frozen=True)
class Expected:
    """Output with the trim at its start, as earlier measurements of the unit predict it.

    `value` and its standard uncertainty `sd` in the unit of the readings.
    """

    value: float
    sd: float


@dataclass(frozen=True)
class PointSpec:
    """One adjustment point.

    `timeout_s`: longest activation; `rest_s`: rest between activations; `keys`: None where the trim
    is moved by remote control; `largest_gain`: largest change per count to be expected, in the
    unit of the readings; `stated_gain`: the same where the unit's data state it, which bounds it.
    """

    question: Question
    timeout_s: float
    rest_s: float
    keys: Keys | None = None
    largest_gain: float = 6.0
    stated_gain: float | None = None
    range: tuple[int, int] | None = None
    """Lowest and highest counts from the start that the trim can reach; None if not known."""
    moves_while_on: bool = True
    """Whether the trim can be moved while RF is on."""
    highest: float | None = None
    """Output that no move with RF on may lead beyond, in the unit of the readings; None: any."""
    expected: Expected | None = None
    largest_droop: float | None = None
    """The most that a unit of its model loses when warm through, relative; None: not stated."""
