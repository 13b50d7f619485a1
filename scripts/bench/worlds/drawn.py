"""One unit with its meter and task, drawn from a world."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .world import Range, World

_RIPPLE_COUNTS = (12.0, 40.0)
_COARSE_COUNTS = (8, 13)
"""True size of a coarse press; the data say ten."""


@dataclass(frozen=True)
class Drawn:
    """What was drawn; `start_ma` is the truth with the trim at its start, when the job begins."""

    world: World
    start_ma: float
    gain_ma: float
    ripple_counts: float
    ripple_phase: float
    backlash_counts: float
    """Play of the screw, from one flank to the other."""
    relaxing: float
    relaxing_tau_s: float
    coarse_counts: int
    lags_s: tuple[float, float, float]
    damping: float
    creep_share: float
    dead_s: float
    droop: float
    outer_droop: float
    body_tau_s: float
    outer_tau_s: float
    warm_up: float
    warm_up_tau_s: float
    ageing_per_s: float
    hunting: float
    hunting_period_s: float
    pink: float
    line_step: float
    readings_per_s: float
    window_s: float
    digit_ma: float
    meter_noise: float
    target_ma: float
    tolerance_ma: float
    limit_s: float


def draw(world: World, seed: int, index: int) -> tuple[Drawn, np.random.Generator]:
    """Unit `index` of the population of `seed`, and the generator of all else that is random."""
    rng = np.random.default_rng([seed, index, sum(world.name.encode())])

    def of(limits: Range) -> float:
        return float(rng.uniform(*limits))

    def either(limits: Range) -> float:
        return of(limits) * float(rng.choice([-1.0, 1.0]))

    target, digit, gain = of(world.target_ma), of(world.digit_ma), _lognormal(rng, world.gain_ma)
    lag_s = of(world.lag_s)
    tolerance = max(
        of(world.tolerance_ma),
        world.least_tolerance_relative * target,
        world.least_tolerance_counts * gain,
        world.least_tolerance_digits * digit,
    )
    start_off_ma = of(world.start_off) * target
    if world.start_in_tolerances is not None:
        start_off_ma = either(world.start_in_tolerances) * tolerance
    unit = Drawn(
        world=world,
        start_ma=target + start_off_ma,
        gain_ma=gain * float(rng.choice([-1.0, 1.0])),
        ripple_counts=of(_RIPPLE_COUNTS),
        ripple_phase=of((0.0, 2 * np.pi)),
        backlash_counts=of(world.backlash_counts),
        relaxing=of(world.relaxing),
        relaxing_tau_s=of(world.relaxing_tau_s),
        coarse_counts=int(rng.integers(*_COARSE_COUNTS)),
        lags_s=(lag_s, lag_s * of(world.lag_parts), lag_s * of(world.lag_parts)),
        damping=of(world.damping),
        creep_share=of(world.creep_share),
        dead_s=of(world.dead_s),
        droop=of(world.droop),
        outer_droop=of(world.outer_droop),
        body_tau_s=of(world.body_tau_s),
        outer_tau_s=of(world.outer_tau_s),
        warm_up=of(world.warm_up),
        warm_up_tau_s=of(world.warm_up_tau_s),
        ageing_per_s=either(world.ageing_per_min) / 60,
        hunting=of(world.hunting),
        hunting_period_s=of(world.hunting_period_s),
        pink=of(world.pink),
        line_step=of(world.line_step),
        readings_per_s=of(world.readings_per_s),
        window_s=of(world.window_s),
        digit_ma=digit,
        meter_noise=of(world.meter_noise),
        target_ma=target,
        tolerance_ma=tolerance,
        limit_s=of(world.limit_s),
    )
    return unit, rng


def _lognormal(rng: np.random.Generator, limits: Range) -> float:
    low, high = np.log(limits)
    return float(np.exp(np.clip(rng.normal((low + high) / 2, (high - low) / 4), low, high)))
