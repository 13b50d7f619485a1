"""How one unit departs from a plain rise with droop, as its activations have shown so far."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import exp

_OTHER_SHAPE = 0.03
"""Probability of another shape that is assumed of any unit."""
_MOST = 0.98
"""Largest probability that is assumed, so that readings can still contradict it."""
_RISES_OTHERWISE = 0.3
"""Probability of another shape above which estimates by two lags are not used."""
_HUNTS = 0.8
"""Probability of hunting above which an output that stands still is not believed at once."""
_ROSE_LATER = 0.5
"""Probability of another shape after an output that seemed to stand far below, or above, what it
later was."""
_JUMPED = 0.85
"""Probability of hunting after an output far from its prediction."""
_STILL = 0.3
"""Probability that a unit that hunts stands still, off its mean, when it has just risen."""
_IN_ONE_STATE = 1.0
"""The same of a unit that was seen to jump between two states: it is always in one of them."""
_STILL_S = 4.0
"""Mean time for which a unit that hunts stands still."""


@dataclass(frozen=True)
class Habits:
    """Probabilities that a unit hunts (swings slowly), or rises in another shape than two lags.

    `swing`: standard deviation of what it does beside rise and droop, relative to the target;
    `move_delay`: dead time and lags with which moves of its trim act, relative to those of the
    rise; `stands`: probability that a unit that hunts stands still, off its mean, at first.
    """

    hunting: float = 0.1
    other_shape: float = _OTHER_SHAPE
    swing: float = 0.0
    move_delay: float = 1.0
    stands: float = _STILL

    @property
    def rises_otherwise(self) -> bool:
        """Whether estimates by two lags alone cannot be used."""
        return self.other_shape > _RISES_OTHERWISE

    @property
    def hunts(self) -> bool:
        """Whether it has been seen to hunt, so that it may stand still off its mean."""
        return self.hunting > _HUNTS

    @property
    def has_two_states(self) -> bool:
        """Whether it was seen to jump between two states, so that a jump is none for good."""
        return self.stands == _IN_ONE_STATE

    def still_share(self, watched_s: float) -> float:
        """Probability that a unit that hunts stands still, `watched_s` long, off its mean.

        Readings of that time cannot show it; earlier activations did.
        """
        return self.stands * exp(-max(watched_s, 0.0) / _STILL_S) * self.hunting

    def at_least(self, hunting: float, other_shape: float = _OTHER_SHAPE) -> Habits:
        """The habits with at least these probabilities, and at most `_MOST`."""
        return replace(
            self,
            hunting=min(_MOST, max(hunting, self.hunting)),
            other_shape=min(_MOST, max(other_shape, self.other_shape)),
        )

    def after(self, seen: Habits) -> Habits:
        """The habits after an activation in which `seen` were seen.

        A unit that has hunted may hunt again, however still it was this time.
        """
        return replace(
            seen,
            hunting=max(self.hunting, seen.hunting),
            swing=max(self.swing, seen.swing),
            stands=max(self.stands, seen.stands),
        )

    def after_a_jump(self, jump: float) -> Habits:
        """The habits after an output `jump` away from its prediction, relative to the target.

        It may have swung there, by half the jump about its mean.
        """
        return replace(
            self, hunting=max(self.hunting, _JUMPED), swing=max(self.swing, abs(jump) / 2)
        )

    def between_states(self, half: float) -> Habits:
        """The habits of a unit seen to jump between two states, `half` to both sides."""
        return replace(self, hunting=1.0, swing=max(self.swing, abs(half)), stands=_IN_ONE_STATE)

    @property
    def after_another_rise(self) -> Habits:
        """The habits after an output that perhaps had not risen yet when it seemed to stand."""
        return replace(self, other_shape=max(self.other_shape, _ROSE_LATER))

    @property
    def without_swing(self) -> Habits:
        """The habits by an activation in which the trim moved: what swung may be its moves."""
        return replace(self, swing=0.0)


USUAL_HABITS = Habits()
"""Of a unit of which nothing is known."""
