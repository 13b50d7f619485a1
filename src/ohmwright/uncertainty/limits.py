"""Arithmetic of the output checks of electrosurgical generators.

Limits themselves are procedure data. Those that IEC 60601-2-2 sets are offered here as defaults
for a procedure to name. Every clause number and limit of that standard in this module is
unverified, from memory: check it against the text that applies to you.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ohmwright.uncertainty.conformity import Limits
from ohmwright.uncertainty.power import current_a

# 201.8.7.3.101, unverified, from memory: HF leakage is measured through this load.
LEAKAGE_LOAD_OHM = 200.0
MONOPOLAR_LEAKAGE_MA = 150.0
BIPOLAR_LEAKAGE_SHARE = 0.01
# 201.12.1.101, unverified, from memory: the band about the power curve, and where it starts.
OUTPUT_BAND = 0.20
OUTPUT_BAND_FROM = 0.10
# 201.12.4.3.102, unverified, from memory: how far the output can be turned down.
LOWEST_OUTPUT_SHARE = 0.05
LOWEST_OUTPUT_W = 10.0


def bipolar_leakage_limit_ma(rated_power_w: float) -> float:
    """Current in mA that makes 1 % of the rated bipolar power in 200 ohm.

    201.8.7.3.101 a) 3), unverified, from memory.
    """
    return 1000.0 * current_a(BIPOLAR_LEAKAGE_SHARE * rated_power_w, LEAKAGE_LOAD_OHM)


def leakage_power_w(leakage_ma: float, load_ohm: float = LEAKAGE_LOAD_OHM) -> float:
    """Power in W of a leakage current in mA through the measuring load."""
    return (leakage_ma / 1000.0) ** 2 * load_ohm


def output_limits_w(
    curve_w: float, rated_power_w: float, band: float = OUTPUT_BAND
) -> Limits | None:
    """Limits of the output about its power curve; None below 10 % of rated, where there are none.

    201.12.1.101, unverified, from memory.
    """
    if curve_w <= OUTPUT_BAND_FROM * rated_power_w:
        return None
    return Limits(curve_w * (1.0 - band), curve_w * (1.0 + band))


def lowest_output_limit_w(rated_power_w: float) -> float:
    """What the output can be turned down to: 5 % of rated power or 10 W, the smaller.

    201.12.4.3.102, unverified, from memory.
    """
    return min(LOWEST_OUTPUT_SHARE * rated_power_w, LOWEST_OUTPUT_W)


@dataclass(frozen=True, slots=True)
class Reversal:
    """A setting of the control that gives less output than some lower setting does."""

    setting: float
    lower_setting: float
    drop: float


def reversals(
    settings: Sequence[float], outputs: Sequence[float], allowance: float = 0.0
) -> tuple[Reversal, ...]:
    """Where a control is not monotonic: less output than at a lower setting, by over `allowance`.

    `settings` may be in any order but without repeats. `allowance`, in the unit of the outputs, is
    for the repeatability of the reading. Each setting is compared with the highest output below
    it, so that a slow decline over many settings shows.
    201.12.4.3.101, unverified, from memory: output must not rise when the setting is reduced.
    """
    ordered = sorted(zip(settings, outputs, strict=True))
    if len({setting for setting, _ in ordered}) < len(ordered):
        raise ValueError("each setting of the control may be given once")
    found: list[Reversal] = []
    lower, highest = -math.inf, -math.inf
    for setting, output in ordered:
        if highest - output > allowance:
            found.append(Reversal(setting, lower, highest - output))
        if output > highest:
            lower, highest = setting, output
    return tuple(found)


def tolerance_band(nominal: float, share: float, floor: float = 0.0) -> Limits:
    """Limits of nominal +- the larger of share * |nominal| and `floor`, in the nominal's unit."""
    reach = max(share * abs(nominal), floor)
    if math.isnan(reach):
        raise ValueError("a tolerance band needs numbers")
    return Limits(nominal - reach, nominal + reach)
