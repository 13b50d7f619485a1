"""What a prior learned from twenty units of a model is worth, and what a misleading one does."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from plant import Plant
from population import Profile, Unit, draw
from runner import Outcome, run
from verifying import question_of

from ohmwright.metrology.adjusting import AdjustPolicy
from ohmwright.metrology.fleet_prior import FleetPrior, learn
from ohmwright.metrology.point import PointSpec

_LEARNT_FROM = 20
_MEASURED = 5
_SPREAD = 1.25
"""Units of a model differ in gain by so much, two standard deviations."""


@dataclass(frozen=True)
class Compared:
    """The same units without a prior, with their model's, and with an opposite one."""

    without: list[Outcome]
    with_prior: list[Outcome]
    misled: list[Outcome]


def compare(nominal: Profile, seed: int, model: int) -> Compared:
    """Learn one model from its first units, then adjust the next ones in three ways."""
    rng = np.random.default_rng([seed, 7, model])
    sign = int(rng.choice([-1, 1]))
    profile = _of_model(nominal, rng)
    prior = FleetPrior()
    for index in range(_LEARNT_FROM):
        policy, _ = _adjust(profile, sign, [seed, model, index], prior)
        seen = policy.learned()
        prior = prior if seen is None else learn(prior, seen)
    misleading = replace(
        prior,
        positive=prior.negative,
        negative=prior.positive,
        gain=replace(prior.gain, mean=prior.gain.mean + float(np.log(3))),
    )
    outcomes: list[list[Outcome]] = [
        [
            _adjust(profile, sign, [seed, model, index], used)[1]
            for index in range(_LEARNT_FROM, _LEARNT_FROM + _MEASURED)
        ]
        for used in (FleetPrior(), prior, misleading)
    ]
    return Compared(*outcomes)


def _of_model(nominal: Profile, rng: np.random.Generator) -> Profile:
    def near(limits: tuple[float, float], spread: float) -> tuple[float, float]:
        middle = float(rng.uniform(*limits))
        return (middle / spread, middle * spread)

    target = float(rng.uniform(*nominal.target_ma))
    gain = float(np.exp(rng.uniform(*np.log(nominal.gain_ma))))
    return replace(
        nominal,
        target_ma=(target, target),
        gain_ma=(gain / _SPREAD, gain * _SPREAD),
        lag_s=near(nominal.lag_s, 1.15),
        dead_s=near(nominal.dead_s, 1.15),
    )


def _adjust(
    profile: Profile, sign: int, key: list[int], prior: FleetPrior
) -> tuple[AdjustPolicy, Outcome]:
    seed, model, index = key
    unit, rng = draw(profile, seed * 100_003 + model, index)
    unit: Unit = replace(unit, gain_ma=sign * abs(unit.gain_ma))  # type: ignore[no-redef]
    spec = PointSpec(question_of(unit), unit.timeout_s, unit.rest_s)
    policy = AdjustPolicy(spec, prior)
    return policy, run(policy, Plant(unit, rng))
