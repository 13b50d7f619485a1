"""Effects on a reading beside accuracy and drift: each from stated data, or left out by name.

Reactances and bandwidth lower a current by a share that is known in sign but hardly in size, so the
whole share is a limit of error on both sides (GUM 4.3.7), and no value is corrected by it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

from ohmwright.model.analyzer_certificate import Influences
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


class Effect(NamedTuple):
    """One effect on a quantity."""

    name: str
    limit: float
    """Limit of error over the quantity."""
    same_in: str
    """Condition that values must share to have the very same error; empty where they always do."""


class Scatter(NamedTuple):
    """What a reading varies by from one connection of the leads to the next."""

    uncertainty: float
    """Standard uncertainty over the reading."""
    dof: float


@dataclass(frozen=True)
class Effects:
    """What is stated of the effects in one mode into one load, and the names of what is not."""

    on_current: tuple[Effect, ...]
    on_load: tuple[Effect, ...]
    reconnection: Scatter | None
    lacking_on_current: tuple[str, ...]
    lacking_on_load: tuple[str, ...]


def stated_effects(known: Influences, at: Conditions, load_ohm: float) -> Effects:
    """Return the effects on a current into `load_ohm`, and on that load itself."""
    load, warmer_k = f"{load_ohm:g} ohm", _warmer_k(known, at)
    on_current = (
        ("meter bandwidth", _bandwidth_limit(at), at.mode),
        ("crest factor response", _share(known.crest_factor_percent), at.mode),
        ("meter temperature", _share(known.current_percent_per_k, warmer_k), ""),
        *((*one, f"{load}, {at.mode}") for one in _reactance_limits(known, at, load_ohm)),
    )
    on_load = (("load temperature", _share(known.load_percent_per_k, warmer_k), load),)
    scatter = _reconnection(known)
    return Effects(
        on_current=_stated(on_current),
        on_load=_stated(on_load),
        reconnection=scatter,
        lacking_on_current=(
            *_lacking(on_current),
            *(("reconnection",) if scatter is None else ()),
        ),
        lacking_on_load=_lacking(on_load),
    )


_Rows = tuple[tuple[str, float | None, str], ...]
"""Name of each effect, its limit or None, and what it is the same in."""


def _stated(rows: _Rows) -> tuple[Effect, ...]:
    return tuple(Effect(name, limit, same) for name, limit, same in rows if limit is not None)


def _lacking(rows: _Rows) -> tuple[str, ...]:
    return tuple(name for name, limit, _ in rows if limit is None)


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


def _reconnection(known: Influences) -> Scatter | None:
    if known.reconnection_percent is None or known.reconnections is None:
        return None
    return Scatter(known.reconnection_percent / 100, known.reconnections - 1.0)


def _reactance_limits(
    known: Influences, at: Conditions, load_ohm: float
) -> tuple[tuple[str, float | None], ...]:
    """Return the limits for the load's inductance and capacitance, and for what the leads' add."""
    carrier_hz = at.carrier_hz
    if carrier_hz is None:
        return tuple((name, None) for name in _REACTANCES)

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
    return tuple(zip(_REACTANCES, limits, strict=True))


def _added(
    loss: Callable[[float], float], part: float | None, other: float | None = None
) -> float | None:
    """Return what `part` adds to the loss by the `other` part; None where it is not known."""
    if part is None:
        return None
    there = 0.0 if other is None else other
    return loss(there + part) - loss(there)


NOTHING_STATED = stated_effects(Influences(), Conditions(), 1.0)
"""What is known of the effects where no data are given for any."""
