"""Where a control of the output is not monotonic."""

import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Reversal:
    """A setting of the control that gives less output than some lower setting does."""

    setting: float
    lower_setting: float
    drop: float


def reversals(
    settings: Sequence[float], outputs: Sequence[float], allowance: float = 0.0
) -> tuple[Reversal, ...]:
    """Where a control is not monotonic: less output than at a lower setting, by over `allowance`.

    `settings` may be in any order but without repeats. `allowance`, in the unit of the outputs, is
    for the repeatability of the reading. Each setting is compared with the highest output below
    it, so that a slow decline over many settings shows.
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
