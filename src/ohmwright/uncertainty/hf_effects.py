"""How stray reactances and a limited bandwidth change a current at one frequency: first principles.

Each is a part in quadrature beside a part in phase: a reactance beside a resistance, a susceptance
beside a conductance, f / f3dB beside 1 in a first-order low-pass.
"""

import math


def quadrature_loss(ratio: float) -> float:
    """Return 1 - 1 / sqrt(1 + ratio^2), the share of a magnitude lost to a part in quadrature.

    `ratio`: of the part in quadrature to the part in phase. About ratio^2 / 2 where it is small.
    """
    return 1.0 - 1.0 / math.hypot(1.0, ratio)


def series_inductance_loss(load_ohm: float, inductance_h: float, frequency_hz: float) -> float:
    """Return the share by which an inductance in series lowers the current in a resistance.

    For a source of constant voltage. It is less for any other with a resistive output, down to
    nothing for one of constant current.
    """
    return quadrature_loss(math.tau * frequency_hz * inductance_h / load_ohm)


def shunt_capacitance_loss(load_ohm: float, capacitance_f: float, frequency_hz: float) -> float:
    """Return the share of a current that does not flow in a resistance with a capacitance across.

    The current is that into both together.
    """
    return quadrature_loss(math.tau * frequency_hz * capacitance_f * load_ohm)


def bandwidth_loss(frequency_hz: float, bandwidth_hz: float) -> float:
    """Return the share by which a first-order response, 3 dB down at `bandwidth_hz`, reads low."""
    return quadrature_loss(frequency_hz / bandwidth_hz)
