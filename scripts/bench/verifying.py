"""Verification points: a decision as soon as it is safe, beside a slope test's wait.

The slope test looks at 3 s: at 2 s it is quicker, and too often wrong for a fair comparison.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf

from ohmwright.engine.stop_rules import UntilDecided
from ohmwright.estimation.activation_record import Question
from ohmwright.estimation.thermal_droop import ResidualWarmth
from scripts.bench.baselines import slope_settled
from scripts.bench.plant import Plant
from scripts.bench.population import Profile, Unit, draw

_WITHIN = (-2.0, 2.0)
"""True errors in tolerances, uniform."""


@dataclass(frozen=True)
class Verified:
    """One verification point."""

    error_tolerances: float
    verdict: str
    wrong: bool
    on_s: float
    slope_wrong: bool
    slope_on_s: float


def question_of(unit: Unit) -> Question:
    """The unit's task."""
    return Question(unit.target_ma, unit.tolerance_ma, unit.window_s, unit.resolution_ma)


def verify(profile: Profile, seed: int, index: int) -> Verified:
    """Verify one unit whose error is uniform over twice its tolerance."""
    unit, rng = draw(profile, seed, index)
    error = float(rng.uniform(*_WITHIN))
    scale = (unit.target_ma + error * unit.tolerance_ma) / unit.measurand_ma(0)
    unit = replace(unit, start_ma=unit.start_ma * scale)
    plant = Plant(unit, rng)
    verdict, on_s = _watched(plant)
    slope_verdict, slope_on_s = _slope_tested(Plant(unit, rng))
    truth = abs(error) <= 1
    return Verified(
        error_tolerances=error,
        verdict=verdict,
        wrong=verdict != "undecided" and (verdict == "in tolerance") != truth,
        on_s=on_s,
        slope_wrong=slope_verdict is not None and slope_verdict != truth,
        slope_on_s=slope_on_s,
    )


def _watched(plant: Plant) -> tuple[str, float]:
    unit = plant.unit
    # the decision alone: a job waits longer where the value is not yet good to state
    rule = UntilDecided(question_of(unit), ResidualWarmth(), lambda _: True, precision_ma=inf)
    plant.activate()
    age_s = 0.0
    while plant.next_age_s() is not None:
        age_s, value = plant.read()
        if rule.read(age_s, value) and (settled := rule.settled()) is not None:
            inside = abs(settled.value - unit.target_ma) <= unit.tolerance_ma
            return "in tolerance" if inside else "out of tolerance", age_s
    return "undecided", age_s


def _slope_tested(plant: Plant) -> tuple[bool | None, float]:
    unit = plant.unit
    plan = slope_settled(unit, unit.timeout_s)
    plant.activate()
    next(plan)
    while plant.next_age_s() is not None:
        try:
            plan.send(plant.read())
        except StopIteration as stop:
            if stop.value is None:
                break
            age_s, mean, _ = stop.value
            return abs(mean - unit.target_ma) <= unit.tolerance_ma, age_s
    return None, unit.timeout_s
