"""Simulated hands at the keys, which act on cues: in their own time, and with slips."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log
from typing import Literal, NamedTuple

import numpy as np

from ohmwright.model.cue import Cue
from ohmwright.wire.clock import Clock

from .generator import Direction, Key
from .panel import Panel
from .randomness import Randomness

Slip = Literal["", "missed", "doubled", "other key", "other direction"]
_OTHER_KEY: dict[Key, Key] = {"coarse": "fine", "fine": "coarse"}
_OTHER_DIRECTION: dict[Direction, Direction] = {"up": "down", "down": "up"}
_BOUNCE_S = 0.15
"""A key that is pressed twice by accident is pressed again so soon."""


@dataclass(frozen=True)
class Hands:
    """How a person works the keys: times, and probabilities of a slip at each cue."""

    reaction_s: tuple[float, float] = (1.0, 5.0)
    """Shortest and longest reaction; lognormal between them, half of them below the mean of both
    logarithms."""
    press_s: tuple[float, float] = (0.3, 0.8)
    """Time from one press to the next: evenly distributed over persons."""
    stop_s: float = 0.3
    """Time after another cue within which presses still go on."""
    missed: float = 0.0
    """One of the presses does not register."""
    doubled: float = 0.0
    """One of the presses registers twice."""
    wrong_key: float = 0.0
    wrong_direction: float = 0.0

    @classmethod
    def slipping(cls, share: float) -> Hands:
        """Hands that slip in a `share` of all cues, each way equally often."""
        each = share / 4
        return cls(missed=each, doubled=each, wrong_key=each, wrong_direction=each)


class Acted(NamedTuple):
    """What was done on one cue to press, by the simulator's truth."""

    cue: Cue
    slip: Slip
    presses: tuple[tuple[float, Key, Direction], ...]
    """Each press that registered, with its time in seconds of the bench's clock."""


class CuedHands:
    """Presses keys of a simulated panel as cues say; `acted` tells what was really done."""

    def __init__(self, panel: Panel, clock: Clock, hands: Hands, seed: int = 0) -> None:
        self._panel, self._clock, self._hands = panel, clock, hands
        self._draw = Randomness(seed, "hands").stream("cues")
        self._press_s = Randomness(seed, "hands").between("press_s", hands.press_s)
        self._meant: tuple[float, ...] = ()
        self.acted: list[Acted] = []

    def follow(self, cue: Cue) -> None:
        """Plan the presses that a cue asks for; let go of what another cue asked for before."""
        now_s = self._clock.now_s()
        self._panel.drop_presses(now_s + self._hands.stop_s)
        self._meant = tuple(at_s for at_s in self._meant if at_s <= now_s + self._hands.stop_s)
        if cue.kind != "press" or cue.key == "" or cue.direction == "" or cue.presses == 0:
            return
        begin_s = now_s + self._reaction_s()
        self._meant = tuple(begin_s + n * self._press_s for n in range(cue.presses))
        slip = self._slip()
        key = _OTHER_KEY[cue.key] if slip == "other key" else cue.key
        direction = cue.direction
        if slip == "other direction":
            direction = _OTHER_DIRECTION[cue.direction]
        times = list(self._meant)
        which = int(self._draw.integers(len(times)))
        if slip == "missed":
            del times[which]
        elif slip == "doubled":
            times.insert(which + 1, times[which] + _BOUNCE_S)
        for at_s in times:
            self._panel.press_at(at_s, key, direction)
        done = tuple((at_s, key, direction) for at_s in times)
        self.acted.append(Acted(cue, slip, done))

    def done_of_last(self) -> int:
        """How many presses of the latest cue the person means to have done by now."""
        return sum(at_s <= self._clock.now_s() for at_s in self._meant)

    def _reaction_s(self) -> float:
        low, high = log(self._hands.reaction_s[0]), log(self._hands.reaction_s[1])
        drawn = self._draw.normal(0.5 * (low + high), (high - low) / 4)
        return exp(float(np.clip(drawn, low, high)))

    def _slip(self) -> Slip:
        hands = self._hands
        chances = (hands.missed, hands.doubled, hands.wrong_key, hands.wrong_direction)
        drawn = self._draw.random()
        slips: tuple[Slip, ...] = ("missed", "doubled", "other key", "other direction")
        for slip, chance in zip(slips, chances, strict=True):
            if drawn < chance:
                return slip
            drawn -= chance
        return ""
