"""Make the stored activations that `ohmwright checks` settles: readings of a known output.

Run: .venv/bin/python scripts/make_transients.py

The output is integrated numerically, by other equations than the estimator's: two lags in a row
after a dead time, an output stage that warms with the power it delivers and loses output with its
warmth, a meter that averages over its window, AR(1) noise, and the meter's last digit. The truth
is the output at the age asked for as it would be had the lags passed: the full level less what
the warmth takes.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

Floats = NDArray[np.float64]

TARGET = Path(__file__).parents[1] / "src/ohmwright/installation/data/transients.json"
SEED = 20
AGE_S, UNTIL_S = 6.0, 14.0
WINDOW_S, RATE_HZ, RESOLUTION_MA = 0.5, 5.0, 0.5
NOISE, CORRELATION = 0.0015, 0.5


@dataclass(frozen=True)
class Unit:
    """An output: currents in mA, times in s; `droop` is the part lost when warm through."""

    level_ma: float
    lag_s: float
    second_lag_s: float
    dead_s: float
    droop: float
    warming_s: float


UNITS = {
    "quick": Unit(705.0, 0.35, 0.05, 0.3, 0.006, 9.0),
    "slow": Unit(712.0, 1.6, 0.30, 0.6, 0.004, 8.0),
    "sagging": Unit(497.0, 0.6, 0.10, 0.4, 0.015, 7.0),
    "on the limit": Unit(508.05, 0.6, 0.10, 0.4, 0.010, 8.0),
    "leakage": Unit(62.0, 0.5, 0.08, 0.4, 0.008, 8.0),
}


def integrated(unit: Unit, ages_s: Floats) -> tuple[Floats, float]:
    """Charge since age 0 at each of `ages_s`, in mA s, and the true value at `AGE_S`, in mA."""

    def rates(age_s: float, state: Floats) -> list[float]:
        first, second, warmth, _ = state
        keyed = 1.0 if age_s >= unit.dead_s else 0.0
        output = second * (1.0 - unit.droop * warmth)
        return [
            (keyed - first) / unit.lag_s,
            (first - second) / unit.second_lag_s,
            (output**2 - warmth) / unit.warming_s,
            unit.level_ma * output,
        ]

    times_s = np.union1d(ages_s, [AGE_S])
    solved = solve_ivp(
        rates, (0.0, UNTIL_S), np.zeros(4), t_eval=times_s, max_step=0.01, rtol=1e-9, atol=1e-12
    )
    charge = np.interp(ages_s, times_s, solved.y[3])
    warmth = float(np.interp(AGE_S, times_s, solved.y[2]))
    return charge, unit.level_ma * (1.0 - unit.droop * warmth)


def readings(unit: Unit, rng: np.random.Generator) -> tuple[Floats, Floats, float]:
    """Ages, readings in mA, and the truth in mA."""
    ages_s = np.round(np.arange(WINDOW_S, UNTIL_S, 1.0 / RATE_HZ), 6)
    starts_s = np.round(ages_s - WINDOW_S, 6)
    times_s = np.union1d(starts_s, ages_s)
    charge, truth_ma = integrated(unit, times_s)
    averaged = np.interp(ages_s, times_s, charge) - np.interp(starts_s, times_s, charge)
    clean = averaged / WINDOW_S
    noise = rng.normal(size=ages_s.size)
    for i in range(1, noise.size):
        noise[i] = CORRELATION * noise[i - 1] + np.sqrt(1.0 - CORRELATION**2) * noise[i]
    seen = clean * (1.0 + NOISE * noise)
    return ages_s, RESOLUTION_MA * np.round(seen / RESOLUTION_MA), truth_ma


def main() -> None:
    """Write the file."""
    rng = np.random.default_rng(SEED)
    made = {}
    for name, unit in UNITS.items():
        ages_s, current_ma, truth_ma = readings(unit, rng)
        made[name] = {
            "truth_ma": round(truth_ma, 4),
            "unit": asdict(unit),
            "age_s": ages_s.tolist(),
            "current_ma": current_ma.tolist(),
        }
    document = {
        "made_by": "scripts/make_transients.py",
        "seed": SEED,
        "at_age_s": AGE_S,
        "window_s": WINDOW_S,
        "readings_per_s": RATE_HZ,
        "resolution_ma": RESOLUTION_MA,
        "transients": made,
    }
    text = json.dumps(document, indent=None, separators=(", ", ": "))
    TARGET.write_text(text.replace('}, "', '},\n"') + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
