"""The output within an activation, advanced in closed form from tick to tick.

The two lags are kept as two decays of their own (p with the first lag, q with the second), so a
tick is two multiplications and its mean is exact. A change of the target current acts a dead time
later and may fall anywhere within a tick.
"""

from __future__ import annotations

from bisect import insort
from collections.abc import Iterator
from copy import copy
from math import exp, expm1, inf, pi, sin, sqrt

from .unit import ResponseParameters


class OutputDynamics:
    """One generator's output current in mA: its mean over each tick, without noise.

    `noise` is the relative AR(1) noise of the latest reading; each `run` draws the next.
    """

    __slots__ = (
        "_a",
        "_ahead",
        "_base",
        "_changes",
        "_cool",
        "_decays",
        "_hunt_phase",
        "_hunt_rate",
        "_hunting",
        "_innovation",
        "_next_change_s",
        "_p",
        "_phi",
        "_q",
        "_shocks",
        "_tick_s",
        "_ticks",
        "_turns",
        "_u",
        "noise",
        "square_sum",
        "unit",
        "warmth_at_start",
    )

    def __init__(
        self,
        unit: ResponseParameters,
        *,
        tick_s: float,
        reading_s: float,
        normals: Iterator[float],
        uniforms: Iterator[float],
    ) -> None:
        self.unit, self._tick_s = unit, tick_s
        self._a = unit.lag_s / (unit.lag_s - unit.second_lag_s)
        self._base, self._hunting = 1.0 - unit.droop, unit.hunting
        self._look_ahead(round(reading_s / tick_s))
        self._cool = 1.0
        self._phi = exp(-reading_s / unit.noise_correlation_s)
        self._innovation = unit.noise * sqrt(1 - self._phi**2)
        self._shocks, self._turns = normals, uniforms
        self._hunt_rate = 2 * pi / unit.hunting_period_s
        self._hunt_phase = 0.0
        self._u = self._p = self._q = 0.0
        self._ticks = 0
        self._changes: list[tuple[float, float]] = []
        self._next_change_s = inf
        self.noise = 0.0
        self.square_sum = 0.0
        self.warmth_at_start = 0.0

    @property
    def age_s(self) -> float:
        """Age in s of the activation, as far as it was computed."""
        return self._ticks * self._tick_s

    @property
    def warmth(self) -> float:
        """Warmth of the output stage: 0 when rested, 1 in thermal equilibrium."""
        return 1.0 - self._cool

    def start(self, target_ma: float) -> None:
        """Begin an activation towards `target_ma`, with the warmth left from earlier ones."""
        self._u = self._p = self._q = 0.0
        self._ticks = 0
        self.warmth_at_start = self.warmth
        self._changes = []
        self.noise = self.unit.noise * next(self._shocks)
        self._hunt_phase = 2 * pi * next(self._turns)
        self.retarget(0.0, target_ma)

    def retarget(self, age_s: float, target_ma: float) -> None:
        """Change the target current at `age_s`; the output follows a dead time later."""
        insort(self._changes, (age_s + self.unit.dead_s, target_ma))
        self._next_change_s = self._changes[0][0]

    def run(self, ticks: int, share: float = 1.0) -> list[float]:
        """Means of the next `ticks` ticks, `share` of each, in mA.

        `square_sum` is the sum of the squares of the whole means.
        """
        end_ticks = self._ticks + ticks
        self.noise = self._phi * self.noise + self._innovation * next(self._shocks)
        if self._next_change_s < end_ticks * self._tick_s:
            return [share * mean for mean in self.run_to(end_ticks * self._tick_s)]
        if ticks != len(self._ahead):
            self._look_ahead(ticks)
        u, p, q, cool, base = self._u, self._p, self._q, self._cool, self._base
        squares = 0.0
        means: list[float] = []
        for mean_p, mean_q, mean_cool in self._ahead:
            mean = (u + p * mean_p + q * mean_q) * (base + cool * mean_cool)
            if self._hunting:
                mean *= self._hunt((self._ticks + len(means) + 0.5) * self._tick_s)
            squares += mean * mean
            means.append(share * mean)
        decay_p, decay_q, decay_cool = self._decays
        self._p, self._q, self._cool = p * decay_p, q * decay_q, cool * decay_cool
        self._ticks = end_ticks
        self.square_sum = squares
        return means

    def _look_ahead(self, ticks: int) -> None:
        """Compute what p, q and coolness are worth in each of so many ticks, and after them."""
        unit, tick_s = self.unit, self._tick_s
        decay_p, mean_p = _decay(tick_s, unit.lag_s)
        decay_q, mean_q = _decay(tick_s, unit.second_lag_s)
        decay_cool, mean_cool = _decay(tick_s, unit.droop_tau_s)
        mean_p, mean_cool = self._a * mean_p, unit.droop * mean_cool
        self._ahead = [
            (mean_p * decay_p**n, mean_q * decay_q**n, mean_cool * decay_cool**n)
            for n in range(ticks)
        ]
        self._decays = decay_p**ticks, decay_q**ticks, decay_cool**ticks

    def run_to(self, age_s: float) -> list[float]:
        """Means in mA of the ticks up to `age_s`; the rest of a last, partial tick is zero."""
        means = []
        while (left_s := age_s - self.age_s) > 1e-9:
            means.append(self._stretch(min(left_s, self._tick_s)))
            self._ticks += 1
        self.square_sum = sum(mean * mean for mean in means)
        return means

    def at(self, age_s: float) -> float:
        """The current in mA at `age_s`, which must not be earlier than what was computed."""
        ahead = copy(self)
        ahead._changes = list(self._changes)
        ahead.run_to(age_s)
        level = ahead._u + ahead._a * ahead._p + ahead._q
        return level * ahead._factor(age_s, ahead._cool)

    def drooped(self, age_s: float, warmth: float = 0.0) -> float:
        """Share of the cold output left at `age_s` after a start with `warmth`."""
        cool = (1 - warmth) * exp(-age_s / self.unit.droop_tau_s)
        return 1 - self.unit.droop * (1 - cool)

    def rest(self, rest_s: float) -> None:
        """Cool down for `rest_s` seconds of RF off."""
        self._cool = 1.0 - self.warmth * exp(-rest_s / self.unit.recovery_tau_s)

    def _stretch(self, duration_s: float) -> float:
        """Advance by at most a tick, changes included; the integral divided by a tick."""
        age_s, end_s = self.age_s, self.age_s + duration_s
        total = 0.0
        while self._next_change_s < end_s:
            change_s, target_ma = self._changes.pop(0)
            if change_s > age_s:
                total += self._piece(age_s, change_s - age_s)
                age_s = change_s
            self._jump(target_ma - self._u)
            self._next_change_s = self._changes[0][0] if self._changes else inf
        return (total + self._piece(age_s, end_s - age_s)) / self._tick_s

    def _piece(self, age_s: float, duration_s: float) -> float:
        """Advance within a tick while nothing changes; the integral of the current."""
        decay_p, mean_p = _decay(duration_s, self.unit.lag_s)
        decay_q, mean_q = _decay(duration_s, self.unit.second_lag_s)
        decay_cool, mean_cool = _decay(duration_s, self.unit.droop_tau_s)
        level = self._u + self._a * self._p * mean_p + self._q * mean_q
        mean = level * self._factor(age_s + duration_s / 2, self._cool * mean_cool)
        self._p *= decay_p
        self._q *= decay_q
        self._cool *= decay_cool
        return mean * duration_s

    def _factor(self, age_s: float, cool: float) -> float:
        droop = 1 - self.unit.droop * (1 - cool)
        return droop * self._hunt(age_s) if self.unit.hunting else droop

    def _hunt(self, age_s: float) -> float:
        return 1 + self.unit.hunting * sin(self._hunt_rate * age_s + self._hunt_phase)

    def _jump(self, step_ma: float) -> None:
        """Change the target by `step_ma`; the output itself stays continuous."""
        self._u += step_ma
        self._p -= step_ma
        self._q += (self._a - 1) * step_ma


def _decay(duration_s: float, tau_s: float) -> tuple[float, float]:
    """What is left of an exponential after `duration_s`, and its mean over that time."""
    if tau_s <= 0:
        return 0.0, 0.0
    if duration_s <= 0:
        return 1.0, 1.0
    x = duration_s / tau_s
    return exp(-x), -expm1(-x) / x
