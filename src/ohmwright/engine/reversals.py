"""Finds settings of a control at which the output is not monotonic."""

import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Reversal:
    """A setting of the control that gives less output than some lower setting does."""

    setting: float
    lower_setting: float
    """The setting below it with the highest output."""
    drop: float
    """How much less output it gives, in the outputs' unit."""


def reversals(
    settings: Sequence[float], outputs: Sequence[float], allowance: float = 0.0
) -> tuple[Reversal, ...]:
    """Return the settings that give less output than a lower one, by more than `allowance`.

    `settings`: in any order, without repeats, else ValueError; `allowance`: in the outputs' unit,
    for the repeatability of readings. Each setting is compared with the highest output below it, so
    that a slow decline over many settings shows.
    201.12.4.3.101, unverified, from memory: output must not rise when the setting is reduced.
    """
    ordered = sorted(zip(settings, outputs, strict=True))
    if len({setting for setting, _ in ordered}) < len(ordered):
        raise ValueError("each setting of the control may be given once")
    found: list[Reversal] = []
    lower, highest = -math.inf, -math.inf
    for setting, output in ordered:
        if highest - output > allowance:
            found.append(Reversal(setting, lower, highest - output))
        if output > highest:
            lower, highest = setting, output
    return tuple(found)
