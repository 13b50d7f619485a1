"""Diagnosis of drifted sense gains, measured on simulated as-found power curves.

    python scripts/bench/diagnose.py --units 2000 --seed 1

One gain of each unit is 3 % or more off, the others creep a little; the reference is naming the
sense by the load with the largest error.
"""

from __future__ import annotations

import argparse
import json

import numpy as np

from ohmwright.estimation.power_curve_diagnosis import (
    SENSES,
    OutputLimits,
    PowerCurve,
    diagnose,
)

_LOADS = np.array([50, 100, 200, 300, 500, 800, 1000, 1500, 2000, 3000.0])
_LIMITS = OutputLimits(power_w=300.0, current_a=1.4, voltage_v=560.0, sharpness=6.0)
_METER = 0.006
"""Standard uncertainty of a measured power, relative."""
_CREEP = 0.004


def main() -> None:
    """Print the shares and a JSON line."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--units", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    seen = np.array([_unit(rng) for _ in range(options.units)])
    named, plain = seen.mean(axis=0)
    print(f"right gain named  {named:.4f}  (bar 0.99)  by the worst load {plain:.4f}")
    figures = {"named": named, "named_by_worst_load": plain}
    print(json.dumps({"bench": "diagnose", "seed": options.seed, "units": len(seen)} | figures))


def _unit(rng: np.random.Generator) -> tuple[bool, bool]:
    """Whether the right gain is named, and whether the worst load names it."""
    gains = np.exp(rng.normal(0, _CREEP, 3))
    which = int(rng.integers(3))
    gains[which] = 1 + rng.choice([-1, 1]) * rng.uniform(0.03, 0.12)
    measured = _LIMITS.power(_LOADS, gains) * (1 + _METER * rng.normal(size=_LOADS.size))
    found = diagnose(PowerCurve(_LOADS, measured, _METER * measured), _LIMITS)
    return found.culprit == SENSES[which], _by_worst_load(measured) == which


def _by_worst_load(measured: np.ndarray) -> int:
    worst = int(np.argmax(np.abs(measured / _LIMITS.power(_LOADS) - 1)))
    if _LOADS[worst] <= 150:
        return 0
    return 1 if _LOADS[worst] >= 1050 else 2


if __name__ == "__main__":
    main()
