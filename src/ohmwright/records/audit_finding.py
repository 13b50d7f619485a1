"""A finding of the audit of a store."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

FindingKind = Literal["wrong", "unknown", "warning"]
"""`wrong`: altered, damaged or lost. `unknown`: whether it is good cannot be told from here.
`warning`: it may have an innocent cause, and somebody should look."""


@dataclass(frozen=True)
class AuditFinding:
    """What is wrong, in which run, at which of its events, and how serious it is."""

    what: str
    run: str = ""
    event: int | None = None
    kind: FindingKind = "wrong"

    def __str__(self) -> str:
        at = "" if self.event is None else f", event {self.event}"
        return f"run {self.run}{at}: {self.what}" if self.run else f"store: {self.what}"
