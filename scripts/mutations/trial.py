"""One change tried: the tests run on a copy of the project that has it."""

from __future__ import annotations

import multiprocessing
import os
import shutil
import sys
from contextlib import redirect_stdout
from dataclasses import dataclass
from pathlib import Path

import pytest

from .sites import Change

PUBLISHED = ("tests/published",)
_SAME_SEED = ("tests/engine/test_same_seed.py",)
_ROOMS = (
    "tests/uncertainty",
    "tests/model",
    "tests/estimation",
    "tests/adjustment",
    "tests/engine/test_judge.py",
    "tests/engine/test_measured_value.py",
    "tests/engine/test_accuracy.py",
    "tests/engine/test_difference.py",
    "tests/engine/test_crest_factor_value.py",
    "tests/engine/test_stop_rules.py",
    "tests/engine/test_output_checks.py",
)
_JOBS = (
    "tests/engine/test_run.py",
    "tests/engine/test_adjust.py",
    "tests/engine/test_adjustment_activation.py",
    "tests/engine/test_evidence.py",
    "tests/engine/test_step_kinds.py",
    "tests/engine/test_traceability.py",
)
"""Other tests that can notice a change of the arithmetic, the quickest to do so first."""
_COPIED = ("src", "tests", "scripts", "sim_profiles", "pyproject.toml", "README.md")
_LONGEST_S = 600.0
"""Longer than any group of tests takes; what hangs is noticed."""

# each run of tests begins with these imported, but with no module of the project
_CONTEXT = multiprocessing.get_context("forkserver")
_CONTEXT.set_forkserver_preload(
    ["numpy", "scipy.integrate", "scipy.stats", "statsmodels.api", "pydantic", "pytest"]
)


@dataclass(frozen=True)
class Outcome:
    """What noticed a change: published values, or any test; neither is a survivor."""

    change: Change
    by_published: bool
    by_suite: bool


class Copy:
    """A copy of the project in which changes are tried one after the other."""

    def __init__(self, root: Path, place: Path) -> None:
        self._place = place
        self._passed_unchanged: set[tuple[str, ...]] = set()
        place.mkdir(parents=True)
        for name in _COPIED:
            if (root / name).is_dir():
                skip = shutil.ignore_patterns("__pycache__", ".*")
                shutil.copytree(root / name, place / name, ignore=skip)
            else:
                shutil.copy(root / name, place / name)

    def tried(self, change: Change) -> Outcome:
        """The outcome of one change; the copy is as before afterwards."""
        if self._notice(PUBLISHED, change):
            return Outcome(change, by_published=True, by_suite=True)
        groups = (self._nearest(change), _SAME_SEED, _ROOMS, _JOBS)
        noticed = any(self._notice(tests, change) for tests in groups if tests)
        return Outcome(change, by_published=False, by_suite=noticed)

    def _nearest(self, change: Change) -> tuple[str, ...]:
        """The tests of the changed module alone, none where there is no such file."""
        module = Path(change.path).relative_to("src/ohmwright")
        test = Path("tests", module.parent, f"test_{module.name}")
        return (str(test),) if (self._place / test).exists() else ()

    def _notice(self, tests: tuple[str, ...], change: Change) -> bool:
        """Whether tests fail with a change. Raises RuntimeError where they do without it."""
        file = self._place / change.path
        before = file.read_text("utf-8")
        self._write(file, change.applied(before))
        try:
            if self._passes(tests):
                return False
        finally:
            self._write(file, before)
        if tests not in self._passed_unchanged and not self._passes(tests):
            raise RuntimeError(f"{' '.join(tests)} do not pass without any change")
        self._passed_unchanged.add(tests)
        return True

    def _passes(self, tests: tuple[str, ...]) -> bool:
        """Whether the tests pass in the copy as it stands; what hangs does not."""
        process = _CONTEXT.Process(target=_run, args=(self._place, tests))
        process.start()
        process.join(_LONGEST_S)
        if process.is_alive():
            process.kill()
            process.join()
        return process.exitcode == 0

    @staticmethod
    def _write(file: Path, text: str) -> None:
        """Write, and drop what was compiled: its age and size can be those of another text."""
        file.write_text(text, "utf-8")
        for compiled in (file.parent / "__pycache__").glob(f"{file.stem}.*"):
            compiled.unlink()


def _run(place: Path, tests: tuple[str, ...]) -> None:
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
