"""What may be wrong at a bench though no line fails: what a person forgot, what wore out."""

from __future__ import annotations

from dataclasses import dataclass, field

from ohmwright.model.hardware import InputPath


@dataclass
class BenchDefects:
    """Set one and it holds from then on. Only tests, rehearsals and the fault harness do."""

    standby: bool = False
    """The generator takes no key, and its contact quality monitor sleeps."""
    lead_off: bool = False
    """The output lead is not plugged in, nor is the neutral electrode's."""
    disconnected_paths: set[InputPath] = field(default_factory=set)
    """Input paths that the analyzer says it has joined and has not."""
    contact_welded: bool = False
    """The contact that keys the generator does not open any more, though it reads open."""
