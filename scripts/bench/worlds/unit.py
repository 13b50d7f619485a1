"""A unit on the bench: trim, line, warmth, rise, hunting, noise and meter, stepped by one clock."""

from __future__ import annotations

import numpy as np

from .disturbances import Line, hunting, pink_noise
from .drawn import Drawn
from .meter import RmsMeter
from .rise import Rise
from .trim_laws import TrimOfUnit
from .warmth import Warmth

STEP_S = 0.02


class ForeignUnit:
    """Ages count from the latest switching on; `clock_s` from the beginning."""

    def __init__(self, unit: Drawn, rng: np.random.Generator) -> None:
        self.unit, self._rng = unit, rng
        self.trim, self.warmth, self.line = TrimOfUnit(unit), Warmth(unit), Line(unit, rng)
        self._rise = Rise(unit, STEP_S)
        self.clock_s = self.rf_on_s = self.age_s = 0.0
        self._start_ma = unit.start_ma
        self.on = False
        self.activations = 0
        self.excursion_ma = 0.0
        for _ in range(3):  # the level whose truth is the start asked for; droop depends on it
            self._start_ma += unit.start_ma - self.truth_ma()
        self.stood_at = [self.error_tolerances()]
        """Error of the truth in tolerances, at the start and at each release."""

    def activate(self, limit_s: float) -> None:
        """Switch on, for `limit_s` at most."""
        unit, rng = self.unit, self._rng
        self.on, self.age_s = True, 0.0
        self.activations += 1
        self._rise.reset()
        self._meter = RmsMeter(unit, STEP_S, rng)
        self._interval_s = 1 / unit.readings_per_s
        self._due_s = float(rng.random()) * self._interval_s
        time_s = STEP_S * np.arange(round(limit_s / STEP_S) + 2, dtype=np.float64)
        pink = unit.pink * pink_noise(time_s.size, rng)
        self._disturbed = ((1 + hunting(unit, time_s, rng)) * (1 + pink)).tolist()
        self._taken = 0
        self._note_excursion()

    def next_age_s(self) -> float:
        """Age of the next reading."""
        return self._due_s

    def read(self) -> tuple[float, float]:
        """Age and value of the next reading."""
        age_s = self._due_s
        self._pass_until(age_s)
        self._due_s += self._interval_s
        return age_s, self._meter.read()

    def skip_until(self, age_s: float) -> None:
        """Let time pass in which nobody reads the meter."""
        self._pass_until(age_s)
        while self._due_s < age_s:
            self._due_s += self._interval_s

    def move(self, counts: float) -> None:
        """Turn the trim, RF being on or off."""
        self.trim.move(counts)
        if self.on:
            self._note_excursion()

    def release(self, age_s: float) -> None:
        """Switch off."""
        self._pass_until(age_s)
        self.on = False
        self.rf_on_s += age_s
        self.stood_at.append(self.error_tolerances())

    def rest(self, rest_s: float) -> None:
        """Stay off."""
        self.clock_s += rest_s
        self.warmth.rest(rest_s)
        self.line.step(min(rest_s, self.unit.world.line_every_s))
        self.trim.pass_time(rest_s)

    def truth_ma(self) -> float:
        """The measurand where the trim stands now, as `worlds/__init__.py` defines it."""
        cold = Warmth(self.unit)
        level_ma = self._level_ma(self.trim.relaxed_ma)
        power = (level_ma / self.unit.target_ma) ** 2
        for _ in range(round(self.unit.world.at_age_s / STEP_S)):
            cold.step(power, STEP_S)
        return level_ma * cold.droop_factor()

    def error_tolerances(self) -> float:
        """How far the truth is from the target."""
        return self._in_tolerances(self.truth_ma())

    def error_then_tolerances(self) -> float:
        """How far it is with hunting and noise as they were in this or the latest activation.

        They are averaged over its later half, in which the output had risen.
        """
        lately = self._disturbed[self._taken // 2 : self._taken]
        return self._in_tolerances(self.truth_ma() * sum(lately) / len(lately))

    def _in_tolerances(self, output_ma: float) -> float:
        return (output_ma - self.unit.target_ma) / self.unit.tolerance_ma

    def _level_ma(self, change_ma: float) -> float:
        aged = 1 + self.unit.ageing_per_s * self.clock_s
        return (self._start_ma + change_ma) * aged * self.warmth.unit_factor() * self.line.factor

    def _pass_until(self, age_s: float) -> None:
        while self._taken * STEP_S < age_s:
            self._step()
        self.age_s = age_s

    def _step(self) -> None:
        level_ma = self._level_ma(self.trim.change_ma) * self.warmth.droop_factor()
        output_ma = self._risen_ma(level_ma) * self._disturbed[self._taken]
        self._meter.feed(output_ma)
        self.warmth.step((output_ma / self.unit.target_ma) ** 2, STEP_S)
        self.line.step(STEP_S)
        self.trim.pass_time(STEP_S)
        self.clock_s += STEP_S
        self._taken += 1

    def _risen_ma(self, level_ma: float) -> float:
        if self.unit.world.past_the_rise:
            return self._rise.step(1.0) * level_ma
        return self._rise.step(level_ma)

    def _note_excursion(self) -> None:
        level_ma = self._level_ma(self.trim.relaxed_ma)
        self.excursion_ma = max(self.excursion_ma, abs(level_ma - self.unit.target_ma))
