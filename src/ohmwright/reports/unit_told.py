"""By whom the identity of a run's unit is told, where nobody and nothing has read it."""

from __future__ import annotations

from collections.abc import Iterable

from ohmwright.engine.unit_identity import told_serial
from ohmwright.model.by_hand import NO_PORT
from ohmwright.model.event import Event, RunStarted, UnitIdentified


def unread_identity(started: RunStarted, events: Iterable[Event]) -> str:
    """Who alone says which unit it was, as words behind its serial number; empty where it was read.

    A unit with a port may say it, and a person reads it from the plate of a unit of the register.
    """
    serial = started.asset.serial
    by_port = NO_PORT not in started.generator and told_serial(started.generator, serial)
    if not serial or by_port or any(isinstance(one, UnitIdentified) for one in events):
        return ""
    by = "the bench file" if started.registered is None else "the register of assets"
    return f"as told by {by}, not read from the unit"
