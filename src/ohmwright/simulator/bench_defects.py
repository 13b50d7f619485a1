"""Defects of a simulated bench that are no fault of a line: forgotten leads, worn contacts."""

from __future__ import annotations

from dataclasses import dataclass, field

from ohmwright.model.hardware import InputPath


@dataclass
class BenchDefects:
    """Defects, each of which holds from when it is set.

    Only tests, rehearsals and the fault harness set one.
    """

    standby: bool = False
    """The generator does not react to a key, and its contact quality monitor is off."""
    lead_off: bool = False
    """Neither the output lead nor that of the neutral electrode is plugged in."""
    disconnected_paths: set[InputPath] = field(default_factory=set)
    """Input paths that the analyzer reports as joined and that are not."""
    contact_welded: bool = False
    """The contact that keys the generator stays closed, though it reads open."""
