"""A job's own parts at work on a foreign unit: policy, stop rule, rests, verdicts.

What the engine does around them at a bench is done here without ports: readings on their way to a
policy pass `OutputLossDetector` and `KnownReadings`, a person's presses are told once they are done
and nobody reads the meter meanwhile, rests are `OutputWarmth`'s.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from math import inf, isinf

import numpy as np

from ohmwright.adjustment.actions import Activate, Finish, Move, Press, TakeReading
from ohmwright.adjustment.policy import AdjustPolicy
from ohmwright.engine.adjustment_activation import KnownReadings
from ohmwright.engine.asked_current import question
from ohmwright.engine.judge import judge
from ohmwright.engine.measured_value import linear_measured_value
from ohmwright.engine.output_loss import OutputLossDetector
from ohmwright.engine.point_measurement import is_decided, is_worth_repeating, observation_of
from ohmwright.engine.point_spec import keys_of, point_spec_of
from ohmwright.engine.resting import OutputWarmth
from ohmwright.engine.stop_rules import UntilDecided
from ohmwright.estimation.activation_record import Prospect
from ohmwright.estimation.duty import Duty
from ohmwright.estimation.settled_value import Settled, pooled
from ohmwright.estimation.thermal_droop import Droop, Warmth
from ohmwright.model.hardware import DroopData, MeterData, ServiceMode
from ohmwright.model.result import Sample as Reading
from ohmwright.model.step import Point, Timing
from ohmwright.model.tolerance import Allowance, target_of

from .drawn import Drawn, draw
from .unit import ForeignUnit
from .world import World

_LOAD_OHM = 300.0
_PRESS_S, _MOST_PRESSES = 0.4, 20
_BEFORE_LIMIT_S = 0.3
"""No reading is taken so shortly before the limit of an activation that adjusts."""
_VERIFY_BEFORE_LIMIT_S = 0.5
_MOST_ACTIONS = 20_000
_ERRORS = (-2.0, 2.0)
"""True errors of verification points in tolerances, uniform."""


@dataclass(frozen=True)
class Stated:
    """A verdict and the value that goes with it, beside the truth, all in tolerances."""

    verdict: str
    reason: str
    error: float
    covered: bool | None
    """Whether the expanded uncertainty holds the truth; None where no value is stated."""

    @property
    def wrong(self) -> bool:
        """Passed out of tolerance, or failed in it."""
        return {"pass": abs(self.error) > 1, "fail": abs(self.error) <= 1}.get(self.verdict, False)


@dataclass(frozen=True)
class Adjusted:
    """One adjustment."""

    stated: Stated
    error_then: float
    """The error, in tolerances, with the hunting as it was in the last activation."""
    rf_on_s: float
    activations: int
    presses: int
    excursion: float
    left_worse: bool
    """Given up or undecided and out of tolerance, where it had stood in tolerance before."""


@dataclass(frozen=True)
class Verified:
    """One verification point."""

    stated: Stated
    on_s: float


def verify(world: World, seed: int, index: int) -> Verified:
    """Verify one unit whose error is uniform over twice its tolerance to both sides.

    A verdict that the readings leave undecided is asked for once more after a rest, as in a job.
    """
    unit, rng = draw(world, seed, index)
    error = float(rng.uniform(*_ERRORS))
    unit = replace(unit, start_ma=unit.target_ma + error * unit.tolerance_ma)
    plant, timing, point = ForeignUnit(unit, rng), _timing(world), _point(unit)
    warmth = _output_warmth(world)
    prospect = Prospect(timing.max_on_s)
    settled, on_s = _activation(plant, point, timing, warmth, prospect)
    seen = None if settled is None else observation_of(None, settled, point, timing, on_s, ())
    if settled is not None and seen is not None and is_worth_repeating(seen, point):
        relative = unit.tolerance_ma / unit.target_ma
        plant.rest(warmth.rest_s(plant.clock_s, timing, 1.0, relative))
        again, again_s = _activation(plant, point, timing, warmth)
        settled = settled if again is None else pooled(settled, again)
        on_s += again_s
    return Verified(_stated(settled, plant, point, timing), on_s)


def _activation(
    plant: ForeignUnit,
    point: Point,
    timing: Timing,
    warmth: OutputWarmth,
    prospect: Prospect | None = None,
) -> tuple[Settled | None, float]:
    """What one activation settles on, and how long it was."""
    final = partial(is_decided, point=point, timing=timing, accuracy=None)
    left, began_s = warmth.residual_warmth(plant.clock_s, timing.age_s), plant.clock_s
    rule = UntilDecided(question(point, timing, _meter(plant.unit)), left, final, prospect=prospect)
    plant.activate(timing.max_on_s)
    age_s, decided = 0.0, False
    while not decided and plant.next_age_s() < timing.max_on_s - _VERIFY_BEFORE_LIMIT_S:
        age_s, current_ma = plant.read()
        decided = rule.read(age_s, current_ma)
    plant.release(age_s)
    warmth.add_activation(began_s, plant.clock_s, 1.0)
    return rule.settled(), age_s


def adjust(world: World, seed: int, index: int) -> Adjusted:
    """Adjust one unit as a job does."""
    unit, rng = draw(world, seed, index)
    return _Job(ForeignUnit(unit, rng), rng).done()


def _point(unit: Drawn) -> Point:
    allowed = Allowance(absolute_ma=unit.tolerance_ma)
    target = target_of("current_ma", unit.target_ma, allowed)
    return Point(name="point", load_ohm=_LOAD_OHM, target=target)


def _meter(unit: Drawn) -> MeterData:
    return MeterData(
        max_current_ma=2000.0,
        resolution_ma=unit.digit_ma,
        readings_per_s=unit.readings_per_s,
        window_s=unit.window_s * unit.world.window_stated,
        averages_by=unit.world.averages_stated,
    )


def _timing(world: World, **also: float) -> Timing:
    """That of a procedure that asks for the age of the world's measurand."""
    return Timing(age_s=world.at_age_s, **also)


def _stated(settled: Settled | None, plant: ForeignUnit, point: Point, timing: Timing) -> Stated:
    """What a result would say, and what is true."""
    error = plant.error_tolerances()
    if settled is None or isinf(settled.uncertainty):
        return Stated("undecided", "no value", error, None)
    measured = linear_measured_value(settled, "current_ma", point.load_ohm, timing, None)
    verdict, reason = judge(measured, point.target, point.decision)
    if not settled.settled:
        verdict, reason = "undecided", settled.reason
    covered = abs(measured.value - plant.truth_ma()) <= (measured.expanded or inf)
    return Stated(verdict, reason, error, covered if verdict != "undecided" else None)


def _output_warmth(world: World) -> OutputWarmth:
    """As the generator's data state it, or not; a load bank that bears everything."""
    bears_all = (Duty(1e9, 1.0),)
    stated = _droop(world)
    if stated is None:
        return OutputWarmth(bears_all)
    droop = Droop(stated.largest, stated.tau_s, stated.recovery_tau_s)
    return OutputWarmth(bears_all, Warmth(droop))


def _droop(world: World) -> DroopData | None:
    """What the generator's data state; None where they state nothing."""
    if not world.droop_stated:
        return None
    fast_s, slow_s = world.body_tau_s[0], world.outer_tau_s[1]
    largest = world.droop[1] + world.outer_droop[1]
    return DroopData(largest=largest, tau_s=(fast_s, slow_s), recovery_tau_s=(fast_s, 2 * slow_s))


class _Job:
    """One adjustment under way."""

    def __init__(self, plant: ForeignUnit, rng: np.random.Generator) -> None:
        self._plant, self._rng = plant, rng
        unit = plant.unit
        self._point = _point(unit)
        self._timing = _timing(unit.world, rest_s=unit.world.rest_s, max_on_s=unit.limit_s)
        keys = keys_of(ServiceMode(points=())) if unit.world.keys else None
        meter, droop = _meter(unit), _droop(unit.world)
        spec = point_spec_of(self._point, self._timing, meter, None, keys=keys, droop=droop)
        self._policy = AdjustPolicy(spec)
        self._warmth = _output_warmth(unit.world)
        self._presses = 0

    def done(self) -> Adjusted:
        """Run it to its end."""
        for _ in range(_MOST_ACTIONS):
            action = self._policy.next_action()
            if isinstance(action, Finish):
                return self._adjusted(action)
            if isinstance(action, Activate):
                self._activate()
            elif isinstance(action, Move | Press):
                self._carry_out(action, None)
        raise RuntimeError(f"no end after {_MOST_ACTIONS} actions: {self._plant.unit}")

    def _adjusted(self, end: Finish) -> Adjusted:
        plant = self._plant
        stated = Stated("undecided", end.reason, plant.error_tolerances(), None)
        if end.value is not None and end.uncertainty is not None and end.dof is not None:
            settled = Settled(end.value, end.uncertainty, end.dof, 0.0, settled=True)
            stated = _stated(settled, plant, self._point, self._timing)
        was_in = min(abs(error) for error in plant.stood_at) <= 1
        return Adjusted(
            stated=stated,
            error_then=plant.error_then_tolerances(),
            rf_on_s=plant.rf_on_s,
            activations=plant.activations,
            presses=self._presses,
            excursion=plant.excursion_ma / plant.unit.target_ma,
            left_worse=stated.verdict != "pass" and was_in and abs(stated.error) > 1,
        )

    def _activate(self) -> None:
        plant, timing, question = self._plant, self._timing, self._policy.spec.question
        relative = question.tolerance / question.target if self._policy.to_confirm else 1.0
        rest_s = self._warmth.rest_s(plant.clock_s, timing, 1.0, relative)
        if plant.activations > 0:
            plant.rest(rest_s)
            self._policy.rested(rest_s)
        left, on_s = self._warmth.residual_warmth(plant.clock_s, timing.age_s), plant.clock_s
        if not plant.unit.world.droop_stated:
            left = self._warmth.typical_warmth(plant.clock_s)
        plant.activate(timing.max_on_s)
        self._policy.activated(left)
        age_s, gone = self._watch()
        plant.release(age_s)
        self._warmth.add_activation(on_s, plant.clock_s, 1.0)
        self._policy.released(age_s, timed_out=gone)

    def _watch(self) -> tuple[float, bool]:
        """Readings to the policy, its moves to the trim; when it let go, whether output fell."""
        plant, watch = self._plant, OutputLossDetector(self._point.target.value)
        known = KnownReadings(plant.unit.digit_ma)
        while plant.next_age_s() < self._timing.max_on_s - _BEFORE_LIMIT_S:
            age_s, current_ma = plant.read()
            for good in watch.valid_readings(Reading(age_s, current_ma)):
                known.note(good)
            for reading in known.new():
                self._policy.read(*reading)
            if watch.output_lost:
                return age_s, True
            if not watch.onset_seen or known.may_be_held:
                continue
            while isinstance(action := self._policy.next_action(), Move | Press):
                age_s = self._carry_out(action, age_s)
            if not isinstance(action, TakeReading):
                return age_s, False
        return self._timing.max_on_s, False

    def _carry_out(self, action: Move | Press, age_s: float | None) -> float:
        """Move the trim and tell the policy; the age afterwards, 0 with RF off."""
        if isinstance(action, Move):
            self._plant.move(action.counts)
            self._policy.moved(age_s or 0.0, action.counts)
            return age_s or 0.0
        sign = 1 if action.times > 0 else -1
        times = min(abs(action.times), _MOST_PRESSES)
        pressed_s = []
        for _ in range(times):
            if age_s is not None:
                age_s = min(age_s + _PRESS_S, self._timing.max_on_s)
                self._plant.skip_until(age_s)
            self._press(action.key, sign)
            pressed_s.append(age_s or 0.0)
        for each_s in pressed_s:
            self._policy.pressed(each_s, action.key, sign)
        return age_s or 0.0

    def _press(self, key: str, sign: int) -> None:
        """One press, which may not be registered, or be another key's."""
        self._presses += 1
        counts = {"coarse": self._plant.unit.coarse_counts, "fine": 1}
        if self._rng.random() < self._plant.unit.world.wrong_presses:
            other = "fine" if key == "coarse" else "coarse"
            moved = self._rng.choice([0, 0, -sign * counts[key], sign * counts[other]])
        else:
            moved = sign * counts[key]
        self._plant.move(float(moved))
