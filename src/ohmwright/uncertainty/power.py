"""Power in a test load: P = I^2 R, its uncertainty, and what stray reactance does to it."""

import math


def power_w(current_a: float, load_ohm: float) -> float:
    """Power in W of a true-RMS current in A through a non-reactive load in ohm."""
    return current_a * current_a * load_ohm


def current_a(power_w: float, load_ohm: float) -> float:
    """RMS current in A that makes `power_w` in `load_ohm`; the inverse of P = I^2 R."""
    if power_w < 0.0 or load_ohm <= 0.0:
        raise ValueError("a power below zero or a load not above zero has no current")
    return math.sqrt(power_w / load_ohm)


def relative_power_uncertainty(
    relative_current: float, relative_load: float, correlation: float = 0.0
) -> float:
    """Relative standard uncertainty of P = I^2 R from those of I and R (fractions or both in %).

    u(P)/P = sqrt(4 uI^2 + uR^2 + 4 r uI uR), with r the correlation between current and load.
    """
    return math.sqrt(
        4.0 * relative_current**2
        + relative_load**2
        + 4.0 * correlation * relative_current * relative_load
    )


def thevenin_power_w(open_circuit_v: float, source_ohm: float, load_ohm: float) -> float:
    """Power in W that a source of `open_circuit_v` (RMS) behind `source_ohm` puts into a load."""
    return power_w(open_circuit_v / (source_ohm + load_ohm), load_ohm)


def series_inductance_overstatement(
    load_ohm: float, inductance_h: float, frequency_hz: float
) -> float:
    """Fraction by which V^2 / R overstates power in R with L in series: (X/R)^2. I^2 R is exact."""
    return (math.tau * frequency_hz * inductance_h / load_ohm) ** 2


def parallel_capacitance_overstatement(
    load_ohm: float, capacitance_f: float, frequency_hz: float
) -> float:
    """Fraction by which (total current)^2 R overstates power in R with C across it: (w R C)^2."""
    return (math.tau * frequency_hz * load_ohm * capacitance_f) ** 2
