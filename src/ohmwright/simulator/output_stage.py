"""The static law of a generator's output: current limit, constant power, voltage limit.

    P(R) = (P_set^-k + (I_max^2 R)^-k + (V_max^2 R / |Z|^2)^-k)^(-1/k)

with each limit divided by the gain of the unit's own sensors: the current limit by g_i, the voltage
limit by g_v, the power by g_i g_v g_x. |Z| = R without reactance.
"""

from __future__ import annotations

from math import hypot, sqrt
from typing import NamedTuple


class Gains(NamedTuple):
    """The three sense gains; 1 is a sensor that reads true."""

    current: float = 1.0
    voltage: float = 1.0
    phase: float = 1.0


TRUE = Gains()


class OutputLimits(NamedTuple):
    """The limits of the output as the unit's own sensors see them."""

    power_w: float
    current_a: float
    voltage_v: float
    corner: float
    """k: the larger, the sharper the corners between the three regions."""


def power_w(
    limits: OutputLimits, load_ohm: float, gains: Gains = TRUE, reactance_ohm: float = 0.0
) -> float:
    """True power in W in a load of `load_ohm` in series with `reactance_ohm`."""
    g_i, g_v, g_x = gains
    impedance_ohm = hypot(load_ohm, reactance_ohm)
    bounds = (
        limits.power_w / (g_i * g_v * g_x),
        (limits.current_a / g_i) ** 2 * load_ohm,
        (limits.voltage_v / g_v / impedance_ohm) ** 2 * load_ohm,
    )
    least = min(bounds)
    if least <= 0:
        return 0.0
    # in units of the least bound, so that no power under- or overflows
    k = limits.corner
    return float(least * sum((least / bound) ** k for bound in bounds) ** (-1 / k))


def current_ma(
    limits: OutputLimits, load_ohm: float, gains: Gains = TRUE, reactance_ohm: float = 0.0
) -> float:
    """True current in mA in a load of `load_ohm` in series with `reactance_ohm`."""
    return 1000 * sqrt(power_w(limits, load_ohm, gains, reactance_ohm) / load_ohm)
