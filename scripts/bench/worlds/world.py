"""What a world draws: ranges and kinds as data; uniform unless said otherwise."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ohmwright.model.hardware import Averaging

Range = tuple[float, float]
RiseKind = Literal["three lags", "overshoot", "jump and creep"]
TrimLaw = Literal["straight", "fading", "logarithmic", "rippled"]
HuntingShape = Literal["square", "sawtooth", "two periods", "teeter"]
NONE: Range = (0.0, 0.0)


@dataclass(frozen=True)
class World:
    """A population of units, meters and tasks.

    Shares of the output are relative; `_s` is seconds, `_ma` milliamperes.
    """

    name: str
    # rise
    rise: RiseKind = "three lags"
    lag_s: Range = (0.3, 1.2)
    """Slowest lag of the rise; the others are parts of it."""
    lag_parts: Range = (0.05, 0.4)
    damping: Range = (0.35, 0.6)
    """Of a rise that overshoots."""
    creep_share: Range = (0.1, 0.25)
    """Of a rise that jumps: what comes with the slowest lag only."""
    dead_s: Range = (0.2, 1.0)
    # warmth
    droop: Range = (0.0, 0.012)
    """Lost when the output stage's inner body is warm through; the outer body's comes on top."""
    outer_droop: Range = (0.0, 0.003)
    body_tau_s: Range = (5.0, 9.0)
    outer_tau_s: Range = (40.0, 90.0)
    warm_up: Range = NONE
    """Change of the output from a cold to a warm unit, over minutes with RF on or off."""
    warm_up_tau_s: Range = (120.0, 400.0)
    ageing_per_min: Range = NONE
    """Drift of the output, relative, of either sign."""
    # disturbances
    hunting: Range = NONE
    """Half of the swing."""
    hunting_shape: HuntingShape = "square"
    hunting_period_s: Range = (3.0, 15.0)
    """Of the teeter: the mean dwell in a state."""
    pink: Range = (0.0005, 0.002)
    """Standard deviation of the 1/f noise over a minute."""
    line_step: Range = NONE
    """What a step of the line voltage does to the output, of either sign."""
    line_every_s: float = 25.0
    # trim
    gain_ma: Range = (0.3, 6.0)
    """At the start, of either sign; lognormal, the limits are two standard deviations out."""
    law: TrimLaw = "straight"
    past_the_rise: bool = False
    """Whether a move acts at once, as an amplifier behind what makes the output rise slowly."""
    backlash_counts: Range = NONE
    relaxing: Range = NONE
    """Share of a move's effect that goes again within some seconds."""
    relaxing_tau_s: Range = (1.5, 5.0)
    keys: bool = False
    wrong_presses: float = 0.0
    """Share of presses that are not registered, or were another key."""
    # meter
    readings_per_s: Range = (2.0, 10.0)
    window_s: Range = (0.3, 1.0)
    window_stated: float = 1.0
    """The window that the meter's data state, over the true one."""
    averages_by: Averaging = "mean"
    """How the meter averages, always squares."""
    averages_stated: Averaging = "mean"
    """How it averages by its data."""
    digit_ma: Range = (1.0, 1.0)
    meter_noise: Range = (0.0005, 0.002)
    """Of a reading, independent of its neighbours."""
    # task
    target_ma: Range = (150.0, 900.0)
    start_off: Range = (-0.08, 0.08)
    start_in_tolerances: Range | None = None
    """Start so many tolerances off instead, on either side."""
    tolerance_ma: Range = (3.0, 10.0)
    least_tolerance_relative: float = 0.008
    least_tolerance_counts: float = 0.8
    least_tolerance_digits: float = 2.0
    limit_s: Range = (30.0, 60.0)
    """The longest activation while adjusting."""
    rest_s: float = 30.0
    at_age_s: float = 6.0
    """The age at which the measurand holds."""
    droop_stated: bool = False
    """Whether the generator's data say how it droops, so that rests follow that."""
