"""Carries out a policy's actions on the plant and notes how it went."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from ohmwright.adjustment.actions import (
    Action,
    Activate,
    Finish,
    Move,
    Press,
    Release,
    TakeReading,
)
from scripts.bench.plant import Plant

_MOST_ACTIONS = 10_000
"""Ten activations of a minute at ten readings a second, and half as much again."""


class Policy(Protocol):
    """What the runner tells a policy and asks of it."""

    def next_action(self) -> Action:
        """What to do now."""

    def activated(self) -> None:
        """RF is on."""

    def read(self, age_s: float, value: float) -> None:
        """A reading and its age."""

    def moved(self, age_s: float, counts: int) -> None:
        """The trim has moved."""

    def pressed(self, age_s: float, key: str, times: int) -> None:
        """A key was pressed."""

    def released(self, on_s: float) -> None:
        """RF is off."""

    def rested(self, rest_s: float) -> None:
        """RF has been off for so long."""


@dataclass(frozen=True)
class Outcome:
    """One unit's adjustment."""

    verdict: str
    reason: str
    error_tolerances: float
    rf_on_s: float
    bench_s: float
    activations: int
    presses: int
    excursion: float
    counts: float


def run(policy: Policy, plant: Plant) -> Outcome:
    """Run one unit to its end."""
    unit = plant.unit
    age_s = bench_s = 0.0
    presses = 0
    for _ in range(_MOST_ACTIONS):
        match policy.next_action():
            case Activate():
                plant.activate()
                age_s = 0.0
                policy.activated()
            case TakeReading():
                due_s = plant.next_age_s()
                if due_s is None:
                    plant.release(unit.timeout_s)
                    policy.released(unit.timeout_s)
                    continue
                age_s, value = plant.read()
                policy.read(age_s, value)
            case Move(counts):
                plant.move(counts, age_s)
                policy.moved(age_s, counts)
            case Press(key, times):
                presses += abs(times)
                age_s = _press(policy, plant, key, times, age_s)
            case Release(rest_s):
                if plant.on:
                    plant.release(age_s)
                    policy.released(age_s)
                plant.rest(rest_s)
                policy.rested(rest_s)
                bench_s += age_s + rest_s
            case Finish() as end:
                error = (unit.measurand_ma(plant.counts) - unit.target_ma) / unit.tolerance_ma
                return Outcome(
                    verdict=end.ended,
                    reason=end.reason,
                    error_tolerances=error,
                    rf_on_s=plant.rf_on_s,
                    bench_s=bench_s,
                    activations=plant.activations,
                    presses=presses,
                    excursion=plant.excursion_ma / unit.target_ma,
                    counts=plant.counts,
                )
    raise RuntimeError(f"no end after {_MOST_ACTIONS} actions: {unit}")


def _press(policy: Policy, plant: Plant, key: str, times: int, age_s: float) -> float:
    """Each press takes its time, and the meter reads on meanwhile."""
    unit = plant.unit
    size = unit.coarse_counts if key == "coarse" else 1.0
    step = 1 if times > 0 else -1
    for _ in range(abs(times)):
        pressed_s = age_s + unit.press_s if plant.on else age_s
        while plant.on and (due_s := plant.next_age_s()) is not None and due_s < pressed_s:
            policy.read(*plant.read())
        age_s = pressed_s
        plant.move(step * size, age_s)
        policy.pressed(age_s, key, step)
    return age_s
