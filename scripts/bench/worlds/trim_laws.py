"""From counts to the level that is demanded: the law of the trim, its backlash, its relaxation."""

from __future__ import annotations

from math import cos, exp, log1p, pi, sin, tanh

from .drawn import Drawn

_FADES_OVER = 0.15
"""A fading trim changes the level by no more than this part of it, however far it is turned."""
_RIPPLE = 0.4
"""The gain of a rippled trim differs by so much from place to place."""
_LOG_COUNTS = 60.0


def law_ma(unit: Drawn, counts: float) -> float:
    """Change of the level by a trim that stands `counts` from its start."""
    gain = unit.gain_ma
    match unit.world.law:
        case "fading":
            room = _FADES_OVER * unit.start_ma
            return room * tanh(gain * counts / room)
        case "logarithmic":
            # to one side its gain shrinks with the way, to the other it grows
            if counts >= 0:
                return gain * _LOG_COUNTS * log1p(counts / _LOG_COUNTS)
            return -gain * _LOG_COUNTS * (exp(min(-counts, 2 * _LOG_COUNTS) / _LOG_COUNTS) - 1)
        case "rippled":
            turn = 2 * pi / unit.ripple_counts
            wave = sin(turn * counts + unit.ripple_phase) - sin(unit.ripple_phase)
            local = 1 + _RIPPLE * cos(unit.ripple_phase)
            return gain * (counts + _RIPPLE * wave / turn) / local
        case _:
            return gain * counts


class Backlash:
    """The play of a screw: what it drives follows only when pushed, and rests between."""

    def __init__(self, width: float) -> None:
        self._half = width / 2
        self.driven = 0.0

    def turn_to(self, counts: float) -> float:
        """Where the driven part stands once the screw has been turned to `counts`."""
        self.driven = min(max(self.driven, counts - self._half), counts + self._half)
        return self.driven


class TrimOfUnit:
    """The trim: where it was turned to, and the level it asks for."""

    def __init__(self, unit: Drawn) -> None:
        self._unit = unit
        self._backlash = Backlash(unit.backlash_counts)
        self.counts = 0.0
        self.relaxed_ma = 0.0
        """Change of the level once all has relaxed."""
        self._passing_ma = 0.0

    def move(self, counts: float) -> None:
        """Turn it by `counts`."""
        self.counts += counts
        before = self.relaxed_ma
        self.relaxed_ma = law_ma(self._unit, self._backlash.turn_to(self.counts))
        self._passing_ma += self._unit.relaxing * (self.relaxed_ma - before)

    def pass_time(self, time_s: float) -> None:
        """What was moved relaxes."""
        self._passing_ma *= exp(-time_s / self._unit.relaxing_tau_s)

    @property
    def change_ma(self) -> float:
        """Change of the level now."""
        return self.relaxed_ma + self._passing_ma
