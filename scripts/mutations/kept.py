"""Outcomes kept as they come, so that a run that was stopped goes on where it was."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path

from .groups import PUBLISHED
from .sites import Change

_DECIDING = ("src", "tests")


@dataclass(frozen=True)
class Outcome:
    """The tests that noticed a change, in words; None for a survivor."""

    change: Change
    noticed_by: str | None

    @property
    def by_published(self) -> bool:
        """Whether published values alone notice it."""
        return self.noticed_by == " ".join(PUBLISHED)


class KeptOutcomes:
    """What is known of changes of the project as it stands: a line of JSON for each, in a file
    named after the contents of its source and tests."""

    def __init__(self, root: Path) -> None:
        self._file = root / "build" / "mutations" / f"{_digest(root)}.jsonl"
        self._file.parent.mkdir(parents=True, exist_ok=True)
        lines = self._file.read_text("utf-8").splitlines() if self._file.exists() else []
        self._known: dict[str, str | None] = dict(json.loads(line) for line in lines)

    def of(self, change: Change) -> Outcome | None:
        """The outcome of a change that was tried before."""
        known = str(change) in self._known
        return Outcome(change, self._known[str(change)]) if known else None

    def keep(self, outcome: Outcome) -> None:
        """Add an outcome to the file at once."""
        self._known[str(outcome.change)] = outcome.noticed_by
        with self._file.open("a", encoding="utf-8") as file:
            file.write(json.dumps([str(outcome.change), outcome.noticed_by]) + "\n")


def _digest(root: Path) -> str:
    """Sixteen digits that differ where any file does that decides an outcome."""
    found = hashlib.sha256()
    for name in _DECIDING:
        for file in sorted((root / name).rglob("*")):
            if file.is_file() and "__pycache__" not in file.parts:
                found.update(f"{file.relative_to(root)}\0".encode())
                found.update(hashlib.sha256(file.read_bytes()).digest())
    return found.hexdigest()[:16]
