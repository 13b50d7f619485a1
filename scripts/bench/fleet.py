"""What a prior learned from twenty units of a model is worth, and what a misleading one does."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ohmwright.adjustment.fleet_prior import FleetPrior, learn
from ohmwright.adjustment.point import Expected, PointSpec
from ohmwright.adjustment.policy import AdjustPolicy
from scripts.bench.plant import Plant
from scripts.bench.population import Profile, Unit, draw
from scripts.bench.runner import Outcome, run
from scripts.bench.verifying import question_of

_LEARNT_FROM = 20
_MEASURED = 5
_CURVE = 0.004
"""What the as-found curve tells of the output at the start, standard uncertainty, relative."""
_SPREAD = 1.25
"""Units of a model differ in gain by so much, two standard deviations."""


@dataclass(frozen=True)
class Compared:
    """The same units without a prior, with their model's, with an opposite one, and so on."""

    without: list[Outcome]
    with_prior: list[Outcome]
    misled: list[Outcome]
    with_curve: list[Outcome]
    """Without a prior, the output at the start known from the as-found curve."""
    with_both: list[Outcome]


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
            _adjust(profile, sign, [seed, model, index], used, curve=curve)[1]
            for index in range(_LEARNT_FROM, _LEARNT_FROM + _MEASURED)
        ]
        for used, curve in _ways(prior, misleading)
    ]
    return Compared(*outcomes)


def _ways(prior: FleetPrior, misleading: FleetPrior) -> list[tuple[FleetPrior, bool]]:
    return [
        (FleetPrior(), False),
        (prior, False),
        (misleading, False),
        (FleetPrior(), True),
        (prior, True),
    ]


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
    profile: Profile, sign: int, key: list[int], prior: FleetPrior, *, curve: bool = False
) -> tuple[AdjustPolicy, Outcome]:
    seed, model, index = key
    unit, rng = draw(profile, seed * 100_003 + model, index)
    unit: Unit = replace(unit, gain_ma=sign * abs(unit.gain_ma))  # type: ignore[no-redef]
    sd = _CURVE * unit.target_ma
    found = float(unit.measurand_ma(0) + sd * np.random.default_rng(key).normal())
    expected = Expected(found, sd) if curve else None
    spec = PointSpec(question_of(unit), unit.timeout_s, unit.rest_s, expected=expected)
    policy = AdjustPolicy(spec, prior)
    return policy, run(policy, Plant(unit, rng))
