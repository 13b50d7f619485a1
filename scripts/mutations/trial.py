"""One change tried: the tests run on a copy of the project that has it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from .sites import Change

PUBLISHED = ("tests/published",)
NEAR = (
    "tests/uncertainty",
    "tests/model",
    "tests/estimation",
    "tests/engine/test_judge.py",
    "tests/engine/test_measured_value.py",
    "tests/engine/test_stop_rules.py",
    "tests/engine/test_output_checks.py",
    "tests/engine/test_resting.py",
    "tests/adjustment",
)
"""What is likely to notice a change of the arithmetic, the quickest first."""
FAR = ("tests/engine", "tests/cli", "tests/reports", "tests/rehearsal")
_COPIED = ("src", "tests", "scripts", "sim_profiles", "pyproject.toml", "README.md")
_LONGEST_S = 900.0


@dataclass(frozen=True)
class Outcome:
    """What noticed a change; neither is a survivor."""

    change: Change
    by_published: bool
    by_suite: bool


class Copy:
    """A copy of the project in which changes are tried one after the other."""

    def __init__(self, root: Path, place: Path) -> None:
        self._place = place
        place.mkdir(parents=True)
        for name in _COPIED:
            if (root / name).is_dir():
                skip = shutil.ignore_patterns("__pycache__", ".*")
                shutil.copytree(root / name, place / name, ignore=skip)
            elif (root / name).exists():
                shutil.copy(root / name, place / name)

    def passes(self, tests: tuple[str, ...]) -> bool:
        """Whether the tests pass in the copy as it stands; what hangs does not."""
        there = [test for test in tests if (self._place / test).exists()]
        paths = os.pathsep.join((str(self._place / "src"), str(self._place)))
        try:
            done = subprocess.run(
                [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *there],
                cwd=self._place,
                env={**os.environ, "PYTHONPATH": paths, "PYTHONDONTWRITEBYTECODE": "1"},
                capture_output=True,
                timeout=_LONGEST_S,
                check=False,
            )
        except subprocess.TimeoutExpired:
            return False
        return done.returncode == 0

    def tried(self, change: Change) -> Outcome:
        """The outcome of one change; the copy is as before afterwards."""
        file = self._place / change.path
        before = file.read_text("utf-8")
        file.write_text(change.applied(before), "utf-8")
        try:
            published = not self.passes(PUBLISHED)
            return Outcome(change, published, published or not self._passes_all())
        finally:
            file.write_text(before, "utf-8")

    def _passes_all(self) -> bool:
        return self.passes(NEAR) and self.passes(FAR)
