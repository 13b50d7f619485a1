"""Whether a current that is read with RF on can be what setting and load drive.

A reading in the wrong unit or scale passes for none at all, with RF on as with RF off.
"""

from __future__ import annotations

from math import isnan, sqrt

from ohmwright.model.hardware import MeterData

_LEAST_RATIO, _MOST_RATIO = 0.1, 10.0
"""Of what is due: no unit in use is off by as much, and no wrong unit of a reading by less."""


def due_current_ma(setting_w: float, load_ohm: float) -> float:
    """Return the current in mA that puts the power `setting_w` into `load_ohm`: P = I² R."""
    return 1000 * sqrt(setting_w / load_ohm)


def in_three_digits(current_ma: float) -> str:
    """Return a current in mA as plain text of three digits."""
    return f"{float(f'{current_ma:.3g}'):g} mA"


def is_plausible(read_ma: float, due_ma: float) -> bool:
    """Return whether `read_ma` can be a current of which about `due_ma` is due."""
    return _LEAST_RATIO * due_ma <= read_ma <= _MOST_RATIO * due_ma


def implausible_words(read_ma: float, due_ma: float, meter: MeterData) -> str:
    """Return what speaks against a reading taken with RF on; empty where it is plausible."""
    if is_plausible(read_ma, due_ma):
        return ""
    shown = "no current was read" if isnan(read_ma) else f"{read_ma:g} mA was read"
    zero_ma = meter.largest_zero_ma
    zero = f", no more than the meter's own zero ({zero_ma:g} mA)" if read_ma <= zero_ma else ""
    return (
        f"{shown} with RF on{zero}, where about {in_three_digits(due_ma)} is due: unit or scale of "
        "the reading ('fetch_current' of the command set), or no output (lead, standby, mode)"
    )
