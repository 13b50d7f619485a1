"""Trials kept as they come, so that a run that was stopped goes on where it was."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

from .groups import Group
from .sites import Change

_DECIDING = ("src", "tests")


class KeptTrials:
    """Which tests noticed which changes of the project as it stands.

    A line of JSON for each trial, in a file named after the contents of source and tests.
    """

    def __init__(self, root: Path) -> None:
        self._file = root / "build" / "mutations" / f"{_digest(root)}.jsonl"
        self._file.parent.mkdir(parents=True, exist_ok=True)
        lines = self._file.read_text("utf-8").splitlines() if self._file.exists() else []
        trials = (json.loads(line) for line in lines)
        self._known: dict[tuple[str, str], bool] = {(of, by): seen for of, by, seen in trials}

    def noticed(self, change: Change, tests: Group) -> bool | None:
        """Whether the tests noticed the change; None where that was not tried."""
        return self._known.get((str(change), " ".join(tests)))

    def keep(self, change: Change, tests: Group, noticed: bool) -> None:
        """Add a trial to the file at once."""
        trial = (str(change), " ".join(tests))
        self._known[trial] = noticed
        with self._file.open("a", encoding="utf-8") as file:
            file.write(json.dumps([*trial, noticed]) + "\n")


def _digest(root: Path) -> str:
    """Sixteen digits that differ where any file does that decides an outcome."""
    found = hashlib.sha256()
    for name in _DECIDING:
        for file in sorted((root / name).rglob("*")):
            if file.is_file() and "__pycache__" not in file.parts:
                found.update(f"{file.relative_to(root)}\0".encode())
                found.update(hashlib.sha256(file.read_bytes()).digest())
    return found.hexdigest()[:16]
