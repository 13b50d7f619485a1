"""Leakage arithmetic of HF surgical equipment.

The limits are those of IEC 60601-2-2, unverified, from memory; the arithmetic is exact.
"""

from collections.abc import Iterator
from functools import partial

from ohmwright.published.checks import Check
from ohmwright.uncertainty import limits

# rated bipolar power in W: current in mA that makes 1 % of it in 200 ohm
BIPOLAR_MA = {
    25: 35.355,
    40: 44.721,
    50: 50.000,
    70: 59.161,
    80: 63.246,
    95: 68.920,
    100: 70.711,
}
MONOPOLAR_W = {150: 4.5, 100: 2.0}


def checks() -> Iterator[Check]:
    """Every check on leakage."""
    for rated, current in BIPOLAR_MA.items():
        yield Check(
            "IEC 60601-2-2",
            "bipolar HF leakage, 201.8.7.3.101 (unverified)",
            f"mA for {rated} W rated",
            current,
            6e-4,
            partial(limits.bipolar_leakage_limit_ma, rated),
            "from memory",
        )
    for current, watts in MONOPOLAR_W.items():
        yield Check(
            "IEC 60601-2-2",
            "monopolar HF leakage, 201.8.7.3.101 (unverified)",
            f"W of {current} mA in 200 ohm",
            watts,
            1e-12,
            partial(limits.leakage_power_w, current),
            "from memory",
        )
