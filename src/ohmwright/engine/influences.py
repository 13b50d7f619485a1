"""Effects on a reading beside its accuracy: each from stated data, or left out by name.

Reactances and bandwidth lower a current by a share that is known in sign but hardly in size, so the
whole share is a limit of error on both sides (GUM 4.3.7), and no value is corrected by it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from ohmwright.model.analyzer_certificate import Drift, Influences
from ohmwright.uncertainty.hf_effects import (
    bandwidth_loss,
    series_inductance_loss,
    shunt_capacitance_loss,
)

_REACTANCES = ("load reactance", "stray capacitance", "lead inductance", "lead capacitance")


@dataclass(frozen=True)
class Conditions:
    """What is known of output, meter and room while a reading is taken; None: nobody stated it."""

    mode: str = ""
    carrier_hz: float | None = None
    bandwidth_hz: float | None = None
    """Of the meter."""
    room_c: float | None = None


@dataclass(frozen=True)
class Effect:
    """One effect on a quantity, as a limit of error relative to it."""

    name: str
    limit: float | None
    """None where no data are given for it."""
    same_in: str = ""
    """Condition that values must share to have the very same error; empty where they always do."""


def current_effects(
    drift: Drift, known: Influences, at: Conditions, load_ohm: float, years: float
) -> tuple[Effect, ...]:
    """Return the effects on a current into `load_ohm`, `years` after the calibration."""
    return (
        Effect("meter drift", _share(drift.current_percent_per_year, years)),
        Effect("meter bandwidth", _bandwidth_limit(at), at.mode),
        Effect("crest factor response", _share(known.crest_factor_percent), at.mode),
        Effect("meter temperature", _share(known.current_percent_per_k, _warmer_k(known, at))),
        *_reactance_effects(known, at, load_ohm),
    )


def load_effects(
    drift: Drift, known: Influences, at: Conditions, load_ohm: float, years: float
) -> tuple[Effect, ...]:
    """Return the effects on the resistance of a load itself, `years` after the calibration."""
    load = f"{load_ohm:g} ohm"
    return (
        Effect("load drift", _share(drift.load_percent_per_year, years), load),
        Effect("load temperature", _share(known.load_percent_per_k, _warmer_k(known, at)), load),
    )


def lacking(effects: Iterable[Effect]) -> tuple[str, ...]:
    """Return the names of the effects that no data are given for."""
    return tuple(effect.name for effect in effects if effect.limit is None)


def _share(percent: float | None, times: float | None = 1.0) -> float | None:
    """Return `percent` as a share, `times` as often; None where either is not known."""
    return None if percent is None or times is None else percent / 100 * times


def _warmer_k(known: Influences, at: Conditions) -> float | None:
    """Return how far the room is from the one of the calibration, in K; None where not known."""
    if known.calibrated_at_c is None or at.room_c is None:
        return None
    return abs(at.room_c - known.calibrated_at_c)


def _bandwidth_limit(at: Conditions) -> float | None:
    if at.carrier_hz is None or at.bandwidth_hz is None:
        return None
    return bandwidth_loss(at.carrier_hz, at.bandwidth_hz)


def _reactance_effects(known: Influences, at: Conditions, load_ohm: float) -> tuple[Effect, ...]:
    """Return the effects of the load's inductance and capacitance, and what the leads' add."""
    carrier_hz = at.carrier_hz
    if carrier_hz is None:
        return tuple(Effect(name, None) for name in _REACTANCES)

    def series(inductance_uh: float) -> float:
        return series_inductance_loss(load_ohm, 1e-6 * inductance_uh, carrier_hz)

    def shunt(capacitance_pf: float) -> float:
        return shunt_capacitance_loss(load_ohm, 1e-12 * capacitance_pf, carrier_hz)

    limits = (
        _added(series, known.load_inductance_uh),
        _added(shunt, known.stray_capacitance_pf),
        _added(series, known.lead_inductance_uh, known.load_inductance_uh),
        _added(shunt, known.lead_capacitance_pf, known.stray_capacitance_pf),
    )
    where = f"{load_ohm:g} ohm, {at.mode}"
    return tuple(
        Effect(name, limit, where) for name, limit in zip(_REACTANCES, limits, strict=True)
    )


def _added(
    loss: Callable[[float], float], part: float | None, other: float | None = None
) -> float | None:
    """Return what `part` adds to the loss by the `other` part; None where it is not known."""
    if part is None:
        return None
    there = 0.0 if other is None else other
    return loss(there + part) - loss(there)
