"""Units of a simulated population: ranges as data, draws from one seed."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

import numpy as np

Range = tuple[float, float]


@dataclass(frozen=True)
class Profile:
    """Ranges from which a unit, its meter and its task are drawn; uniform unless said otherwise."""

    gain_ma: Range = (0.3, 6.0)
    """Lognormal; the limits are two standard deviations out, and cut there."""
    start_off: Range = (-0.08, 0.08)
    start_in_tolerances: Range | None = None
    """Start so many tolerances off instead, on either side."""
    least_start_tolerances: float = 0.0
    curvature: float = 0.2
    lag_s: Range = (0.3, 1.5)
    second_pole: Range = (0.02, 0.3)
    dead_s: Range = (0.2, 1.0)
    window_s: Range = (0.3, 1.0)
    readings_per_s: Range = (2.0, 10.0)
    resolution_ma: float = 1.0
    noise: Range = (0.001, 0.004)
    noise_phi: Range = (0.3, 0.8)
    droop: Range = (0.0, 0.015)
    droop_tau_s: Range = (6.0, 10.0)
    recovery_tau_s: Range = (10.0, 20.0)
    hunting_share: float = 0.1
    hunting: float = 0.004
    hunting_period_s: Range = (4.0, 12.0)
    target_ma: Range = (150.0, 900.0)
    timeout_s: Range = (30.0, 60.0)
    rest_s: float = 30.0
    tolerance_ma: Range = (3.0, 10.0)
    least_tolerance_relative: float = 0.008
    least_tolerance_counts: float = 0.8
    coarse_counts: Range = (8.0, 12.0)
    press_s: float = 0.4
    spike_share: float = 0.0
    spike: float = 0.2
    dead_trim: bool = False


@dataclass(frozen=True)
class Unit:
    """One drawn unit with its meter and task."""

    gain_ma: float
    start_ma: float
    curvature: float
    lag_s: float
    second_lag_s: float
    dead_s: float
    window_s: float
    interval_s: float
    resolution_ma: float
    noise: float
    noise_phi: float
    droop: float
    droop_tau_s: float
    recovery_tau_s: float
    hunting: float
    hunting_period_s: float
    target_ma: float
    timeout_s: float
    rest_s: float
    tolerance_ma: float
    coarse_counts: float
    press_s: float
    spike_share: float
    spike: float

    def steady_ma(self, counts: float) -> float:
        """Output free of lag and droop, `counts` from the start."""
        return self.start_ma + self.gain_ma * counts * (1 + self.curvature * counts / 200)

    def measurand_ma(self, counts: float, at_age_s: float = 6.0) -> float:
        """Lag-free output at an age of a rested activation."""
        drooped = 1 - self.droop * (1 - np.exp(-at_age_s / self.droop_tau_s))
        return float(self.steady_ma(counts) * drooped)


def draw(profile: Profile, seed: int, index: int) -> tuple[Unit, np.random.Generator]:
    """Unit `index` of the population of `seed`, and the generator of its noise."""
    rng = np.random.default_rng([seed, index])

    def uniform(limits: Range) -> float:
        return float(rng.uniform(*limits))

    target = uniform(profile.target_ma)
    gain = _lognormal(rng, profile.gain_ma)
    tolerance = max(
        uniform(profile.tolerance_ma),
        profile.least_tolerance_relative * target,
        profile.least_tolerance_counts * gain,
    )
    lag_s = uniform(profile.lag_s)
    hunts = rng.random() < profile.hunting_share
    droop, droop_tau_s = uniform(profile.droop), uniform(profile.droop_tau_s)
    # the start is off in the measurand, droop included
    start_ma = (target + _start_off(profile, rng, target, tolerance)) / (
        1 - droop * (1 - np.exp(-6 / droop_tau_s))
    )
    sign = float(rng.choice([-1.0, 1.0]))
    unit = Unit(
        gain_ma=0.0 if profile.dead_trim else sign * gain,
        start_ma=float(start_ma),
        curvature=uniform((-profile.curvature, profile.curvature)),
        lag_s=lag_s,
        second_lag_s=lag_s * min(uniform(profile.second_pole), 0.999),
        dead_s=uniform(profile.dead_s),
        window_s=uniform(profile.window_s),
        interval_s=1 / uniform(profile.readings_per_s),
        resolution_ma=profile.resolution_ma,
        noise=uniform(profile.noise),
        noise_phi=uniform(profile.noise_phi),
        droop=droop,
        droop_tau_s=droop_tau_s,
        recovery_tau_s=uniform(profile.recovery_tau_s),
        hunting=profile.hunting if hunts else 0.0,
        hunting_period_s=uniform(profile.hunting_period_s),
        target_ma=target,
        timeout_s=uniform(profile.timeout_s),
        rest_s=profile.rest_s,
        tolerance_ma=tolerance,
        coarse_counts=float(round(uniform(profile.coarse_counts))),
        press_s=profile.press_s,
        spike_share=profile.spike_share,
        spike=profile.spike,
    )
    return unit, rng


def _lognormal(rng: np.random.Generator, limits: Range) -> float:
    low, high = np.log(limits)
    return float(np.exp(np.clip(rng.normal((low + high) / 2, (high - low) / 4), low, high)))


def _start_off(
    profile: Profile, rng: np.random.Generator, target: float, tolerance: float
) -> float:
    if profile.start_in_tolerances is not None:
        return float(rng.choice([-1, 1]) * rng.uniform(*profile.start_in_tolerances)) * tolerance
    off = float(rng.uniform(*profile.start_off)) * target
    least = profile.least_start_tolerances * tolerance
    return off if abs(off) >= least else float(np.copysign(max(least, abs(off)), off))


def overridden(profile: Profile, path: Path) -> Profile:
    """`profile` with the values of a TOML file; unknown names are refused."""
    values: dict[str, Any] = tomllib.loads(path.read_text())
    known = {f.name for f in fields(Profile)}
    unknown = sorted(set(values) - known)
    if unknown:
        raise SystemExit(f"{path}: unknown profile entries {unknown}; known are {sorted(known)}")
    pairs: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in values.items()}
    return replace(profile, **pairs)
