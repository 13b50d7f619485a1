"""Outcomes of many trials, added up to one row, each failure with what replays it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import Any

from .row import Row

_SHOWN = 5


@dataclass
class Tally:
    """Counts of one row."""

    name: str
    replay: str
    """What replays a trial but for its fault."""
    note: str = ""
    tried: int = 0
    counts: Counter[str] = field(default_factory=Counter)
    ends: Counter[str] = field(default_factory=Counter)
    replays: list[str] = field(default_factory=list)

    def take(self, outcome: dict[str, Any]) -> None:
        """Add one."""
        self.tried += 1
        failed = [k for k in ("left_on", "wrong", "undetected", "hang") if outcome.get(k)]
        self.counts.update(failed)
        self.ends[outcome.get("error") or "same values"] += 1
        if failed and len(self.replays) < _SHOWN:
            how = f"{', '.join(failed)}: {outcome.get('how', '')}"
            self.replays.append(f"{self.replay}/{outcome['fault']}  # {how}")

    def row(self) -> Row:
        """The row."""
        ends = ", ".join(f"{n} {end}" for end, n in self.ends.most_common(4))
        return Row(
            self.name,
            self.tried,
            self.counts["left_on"],
            self.counts["wrong"],
            self.counts["undetected"],
            self.counts["hang"],
            self.note or ends,
            tuple(self.replays),
        )
