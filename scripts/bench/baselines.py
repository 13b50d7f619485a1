"""What the policy is measured against: how people and plain loops adjust a trim.

Each is a generator that yields actions and is sent the readings; it decides on readings alone.
"""

from __future__ import annotations

from collections.abc import Callable, Generator

import numpy as np

from ohmwright.adjustment.actions import Action, Activate, Finish, Move, Release, TakeReading
from scripts.bench.population import Unit

Reading = tuple[float, float]
Plan = Generator[Action, Reading | None, Finish]


class Scripted:
    """A generator of actions behind the policy's interface."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._reading: Reading | None = None
        self._timed_out = False

    def next_action(self) -> Action:
        """The plan's next action."""
        if self._timed_out:
            return Finish("undecided", "timed out")
        try:
            action = self._plan.send(self._reading)
        except StopIteration as stop:
            end: Finish = stop.value
            return end
        self._reading = None
        return action

    def activated(self) -> None:
        """RF is on."""

    def read(self, age_s: float, value: float) -> None:
        """A reading."""
        self._reading = (age_s, value)

    def moved(self, age_s: float, counts: int) -> None:
        """The trim has moved."""

    def pressed(self, age_s: float, key: str, times: int) -> None:
        """A key was pressed."""

    def released(self, on_s: float) -> None:
        """RF is off."""

    def rested(self, rest_s: float) -> None:
        """RF has been off for so long."""


def _read_at(age_s: float) -> Generator[Action, Reading | None, Reading | None]:
    """Sample until a reading is `age_s` old."""
    while True:
        reading = yield TakeReading()
        if reading is None or reading[0] >= age_s:
            return reading


def _confirmed(unit: Unit, wait_s: float) -> Generator[Action, Reading | None, bool]:
    """Rest, activate, wait, and take one reading at its word."""
    yield Release(unit.rest_s)
    yield Activate()
    reading = yield from _read_at(wait_s)
    ok = reading is not None and abs(reading[1] - unit.target_ma) <= unit.tolerance_ma
    return ok


def by_eye(unit: Unit) -> Plan:
    """Coarse steps while far, fine ones while near, a look after each; turn round when worse."""
    target, tolerance, polarity = unit.target_ma, unit.tolerance_ma, 1
    for _ in range(6):
        yield Activate()
        reading = yield from _read_at(5.0)
        last_off = None
        while reading is not None and reading[0] < unit.timeout_s - 4:
            off = reading[1] - target
            if abs(off) <= 0.5 * tolerance:
                break
            worse = last_off is not None and abs(off) > abs(last_off) + 0.3 * tolerance
            if worse and last_off is not None and off * last_off > 0:
                polarity = -polarity
            last_off = off
            direction = -polarity if off > 0 else polarity
            yield Move(direction * (10 if abs(off) > 4 * tolerance else 1))
            reading = yield from _read_at(reading[0] + 3.0)
        if (yield from _confirmed(unit, 6.0)):
            yield Release(0.0)
            return Finish("confirmed")
        yield Release(unit.rest_s)
    return Finish("undecided", "by eye")


def secant(unit: Unit) -> Plan:
    """Read 4 s after each change, step along the secant through the last two."""
    target, tolerance = unit.target_ma, unit.tolerance_ma
    gain = 0.0
    for _ in range(6):
        yield Activate()
        reading = yield from _read_at(4.0)
        move = 10
        while reading is not None and reading[0] < unit.timeout_s - 5:
            off = reading[1] - target
            if abs(off) <= 0.5 * tolerance:
                break
            move = 10 if gain == 0 else int(np.clip(round(-off / gain), -100, 100)) or 1
            before = reading[1]
            yield Move(move)
            reading = yield from _read_at(reading[0] + 4.0)
            if reading is not None and reading[1] != before:
                gain = (reading[1] - before) / move
        if (yield from _confirmed(unit, 4.0)):
            yield Release(0.0)
            return Finish("confirmed")
        yield Release(unit.rest_s)
    return Finish("undecided", "secant")


def bisection(unit: Unit) -> Plan:
    """Step out until the error changes sign, then halve, 5 s a step."""
    target, tolerance = unit.target_ma, unit.tolerance_ma
    here, step = 0, 16
    low: tuple[int, float] | None = None
    high: tuple[int, float] | None = None
    for _ in range(6):
        yield Activate()
        reading = yield from _read_at(5.0)
        first_off = None
        while reading is not None and reading[0] < unit.timeout_s - 6:
            off = reading[1] - target
            if abs(off) <= 0.5 * tolerance:
                break
            if off < 0:
                low = (here, off)
            else:
                high = (here, off)
            if low is not None and high is not None:
                move = (low[0] + high[0]) // 2 - here
            else:
                if first_off is not None and abs(off) > abs(first_off):
                    step = -step
                move, first_off = step, off
            if move == 0:
                low = high = None
                step, move = 1, 1
            yield Move(move)
            here += move
            reading = yield from _read_at(reading[0] + 5.0)
        if (yield from _confirmed(unit, 5.0)):
            yield Release(0.0)
            return Finish("confirmed")
        yield Release(unit.rest_s)
    return Finish("undecided", "bisection")


def slope_settled(
    unit: Unit, until_s: float
) -> Generator[Action, Reading | None, tuple[float, float, float] | None]:
    """Sample until the last 3 s, or 8 readings, have no significant slope: age, mean, deviation."""
    ages: list[float] = []
    values: list[float] = []
    span_s, fewest = 3.0, 8
    while True:
        reading = yield TakeReading()
        if reading is None or reading[0] > until_s:
            return None
        ages.append(reading[0])
        values.append(reading[1])
        if reading[0] - ages[0] < span_s:
            continue
        t = np.array(ages)
        keep = t > reading[0] - span_s
        keep |= np.arange(t.size) >= t.size - fewest
        if np.count_nonzero(keep) < fewest:
            continue
        slope, slope_sd, mean, mean_sd = _line(t[keep], np.array(values)[keep])
        if abs(slope) < 2 * slope_sd and mean > 0.5 * unit.target_ma:
            return reading[0], mean, mean_sd


def _line(t: np.ndarray, y: np.ndarray) -> tuple[float, float, float, float]:
    centred = t - t.mean()
    slope = float(centred @ y / (centred @ centred))
    residual = y - y.mean() - slope * centred
    variance = float(residual @ residual) / (t.size - 2) + 1 / 12
    return (
        slope,
        float(np.sqrt(variance / (centred @ centred))),
        float(y.mean()),
        float(np.sqrt(variance / t.size)),
    )


def bayes_slope(unit: Unit) -> Plan:
    """Gaussian beliefs of level and gain, each value taken when a slope test calls it settled."""
    target, tolerance = unit.target_ma, unit.tolerance_ma
    gain, gain_var = 0.0, 9.0
    for _ in range(6):
        yield Activate()
        seen = yield from slope_settled(unit, unit.timeout_s - 1)
        while seen is not None and seen[0] < unit.timeout_s - 5:
            off = seen[1] - target
            if abs(off) + seen[2] <= 0.6 * tolerance:
                break
            wished = -off * gain / (gain**2 + gain_var / 2) if gain != 0 else 10.0
            move = int(np.clip(round(wished), -100, 100)) or 1
            yield Move(move)
            yield from _read_at(seen[0] + 1.0)
            then = yield from slope_settled(unit, unit.timeout_s - 1)
            if then is not None:
                noise = (seen[2] ** 2 + then[2] ** 2) / move**2
                weight = gain_var / (gain_var + noise)
                gain += weight * ((then[1] - seen[1]) / move - gain)
                gain_var = max((1 - weight) * gain_var, (0.02 * gain) ** 2)
            seen = then
        yield Release(unit.rest_s)
        yield Activate()
        seen = yield from slope_settled(unit, unit.timeout_s - 1)
        if seen is not None and abs(seen[1] - target) + 2 * seen[2] <= tolerance:
            yield Release(0.0)
            return Finish("confirmed")
        yield Release(unit.rest_s)
    return Finish("undecided", "bayes")


BASELINES: dict[str, Callable[[Unit], Plan]] = {
    "by eye": by_eye,
    "bisection, 5 s": bisection,
    "secant, 4 s": secant,
    "Bayes, slope test": bayes_slope,
}
