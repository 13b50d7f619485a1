"""One change tried: the tests run on a copy of the project that has it."""

from __future__ import annotations

import multiprocessing
import os
import shutil
import sys
import time
from contextlib import redirect_stdout
from pathlib import Path

import pytest

from .groups import Group
from .sites import Change

_COPIED = (
    "src",
    "tests",
    "scripts",
    "sim_profiles",
    "pyproject.toml",
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
)
_LONGEST_OF_BASELINE = 10.0
_SHORTEST_LIMIT_S = 60.0
"""Tests that take ten times as long as without the change, and a minute, hang: noticed."""

# each run of tests begins with these imported, but with no module of the project
_CONTEXT = multiprocessing.get_context("forkserver")
_CONTEXT.set_forkserver_preload(
    ["numpy", "scipy.integrate", "scipy.stats", "statsmodels.api", "pydantic", "pytest"]
)


class Copy:
    """A copy of the project in which changes are tried one after the other."""

    def __init__(self, root: Path, place: Path) -> None:
        self._place = place
        self._limits_s: dict[frozenset[str], float] = {}
        place.mkdir(parents=True)
        for name in _COPIED:
            if (root / name).is_dir():
                skip = shutil.ignore_patterns("__pycache__", ".*")
                shutil.copytree(root / name, place / name, ignore=skip)
            else:
                shutil.copy(root / name, place / name)

    def notice(self, tests: Group, change: Change) -> bool:
        """Whether the tests fail with the change; the copy is as before afterwards.

        Raises RuntimeError where they do without it.
        """
        limit_s = self._limit_s(tests)
        file = self._place / change.path
        before = file.read_text("utf-8")
        self._write(file, change.applied(before))
        try:
            return not self._passes(tests, limit_s)
        finally:
            self._write(file, before)

    def _limit_s(self, tests: Group) -> float:
        """How long the tests may take, from how long they take without any change."""
        known = frozenset(tests)
        if known not in self._limits_s:
            begin_s = time.monotonic()
            if not self._passes(tests, limit_s=None):
                raise RuntimeError(f"{' '.join(tests)} do not pass without any change")
            baseline_s = time.monotonic() - begin_s
            print(f"{baseline_s:7.0f} s  without any change: {tests[0]}", file=sys.stderr)
            self._limits_s[known] = max(_LONGEST_OF_BASELINE * baseline_s, _SHORTEST_LIMIT_S)
        return self._limits_s[known]

    def _passes(self, tests: Group, limit_s: float | None) -> bool:
        """Whether the tests pass in the copy as it stands, within the limit."""
        process = _CONTEXT.Process(target=_run, args=(self._place, tests))
        process.start()
        try:
            process.join(limit_s)
        finally:  # too late, or stopped by a person: nothing runs on
            process.kill()
            process.join()
        return process.exitcode == 0

    @staticmethod
    def _write(file: Path, text: str) -> None:
        """Write, and drop what was compiled: its age and size can be those of another text."""
        file.write_text(text, "utf-8")
        for compiled in (file.parent / "__pycache__").glob(f"{file.stem}.*"):
            compiled.unlink()


def _run(place: Path, tests: Group) -> None:
    """Run the tests of a copy in a process of their own, with the copy's modules; then exit."""
    os.chdir(place)
    sys.dont_write_bytecode = False
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    paths = [str(place / "src"), str(place)]
    sys.path[:0] = paths
    os.environ["PYTHONPATH"] = os.pathsep.join(paths)
    with Path(os.devnull).open("w", encoding="utf-8") as nowhere, redirect_stdout(nowhere):
        code = pytest.main(["-q", "-x", "-p", "no:cacheprovider", *tests])
    sys.stdout.flush()
    os._exit(int(code))
