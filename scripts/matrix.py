"""Try ohmwright on other Pythons, with the pinned, the newest and the lowest dependencies.

    scripts/matrix [--only NAME] [--whole] [--keep FOLDER]

Each row installs the built wheel into an environment of its own, outside the working copy, and
there imports every module, runs `ohmwright checks` and `ohmwright demo`, and the quick tests, or
with --whole all of them. A row whose Python this machine lacks is not tried. Ends with 1 where one
failed. Takes some minutes a row. uv makes the environments: pip cannot take lowest versions.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

ROOT = Path(__file__).resolve().parent.parent
QUICK = ("model", "uncertainty", "published", "records", "reports", "cli/test_commands.py")
Versions = Literal["pinned", "newest", "lowest"]
_NOT_OURS = ("-W", "ignore::DeprecationWarning", "-W", "ignore::PendingDeprecationWarning")
"""What packages of other ages than the pinned say of one another."""
_EVERY_MODULE = """
import importlib, pkgutil, ohmwright
names = [m.name for m in pkgutil.walk_packages(ohmwright.__path__, "ohmwright.")]
for name in names:
    if ".migrations." not in name and not name.endswith(".__main__"):
        importlib.import_module(name)
print(len(names), "modules")
"""


@dataclass(frozen=True)
class Row:
    """One Python with one choice of versions."""

    python: str
    versions: Versions

    @property
    def name(self) -> str:
        return f"{self.python}-{self.versions}"


ROWS = (
    Row("3.11", "lowest"),
    Row("3.11", "pinned"),
    Row("3.12", "newest"),
    Row("3.13", "newest"),
)


class StepFailedError(Exception):
    """A step of a row that did not end with 0; says which."""


@dataclass(frozen=True)
class Environment:
    """A virtual environment of one row, and what runs in it."""

    folder: Path

    @property
    def python(self) -> Path:
        return self.folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")

    def run(self, step: str, *words: str | Path, cwd: Path) -> str:
        """Run a step; return what it printed. Raises StepFailedError, with its output shown."""
        command = list(map(str, words))
        done = subprocess.run(command, cwd=cwd, capture_output=True, text=True, check=False)
        if done.returncode != 0:
            print(done.stdout[-4000:], done.stderr[-4000:], sep="\n", file=sys.stderr)
            raise StepFailedError(step)
        return done.stdout


def main() -> int:
    """Try every row that is asked for; return 1 where one failed."""
    asked = _arguments()
    work = Path(asked.keep or tempfile.mkdtemp(prefix="ohmwright matrix é "))
    work.mkdir(parents=True, exist_ok=True)
    failed = False
    try:
        uv = _uv(work)
        for row in ROWS:
            if asked.only in row.name:
                said = _tried(row, work / row.name, uv, whole=asked.whole)
                failed |= said.startswith("FAILED")
                print(f"{row.name:12} {said}", flush=True)
    finally:
        if asked.keep is None:
            shutil.rmtree(work, ignore_errors=True)
    return int(failed)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--only", default="", help="rows whose name contains this")
    parser.add_argument("--whole", action="store_true", help="every test, not the quick ones")
    parser.add_argument("--keep", type=Path, help="where the environments are made and kept")
    return parser.parse_args()


def _tried(row: Row, folder: Path, uv: Path, *, whole: bool) -> str:
    """What came of one row, in a line."""
    python = next(_pythons(row.python), None)
    if python is None:
        return "not tried: this machine has no such Python"
    try:
        return _try(row, Environment(folder / "venv"), python, uv, whole=whole)
    except StepFailedError as problem:
        return f"FAILED at: {problem}"


def _try(row: Row, place: Environment, python: str, uv: Path, *, whole: bool) -> str:
    work = place.folder.parent
    work.mkdir(exist_ok=True)
    place.run("making a venv", uv, "venv", "--clear", "-p", python, place.folder, cwd=work)
    _install(row.versions, place, uv)
    modules = place.run("imports", place.python, "-c", _EVERY_MODULE, cwd=work).strip()
    place.run("checks", place.python, "-m", "ohmwright", "checks", cwd=work)
    demo = ("demo", "--records", work / "records of é")
    place.run("demo", place.python, "-m", "ohmwright", *demo, cwd=work)
    tests = [ROOT / "tests" / each for each in (("",) if whole else QUICK)]
    pytest = (place.python, "-m", "pytest", "-q", "-p", "no:cacheprovider", *_NOT_OURS)
    said = place.run("tests", *pytest, *tests, cwd=ROOT)
    return f"{modules}, checks, demo, {said.strip().splitlines()[-1]}"


def _install(versions: Versions, place: Environment, uv: Path) -> None:
    wanted = f"{ROOT}[test]"
    pip = (uv, "pip", "install", "-q", "-p", place.python)
    if versions == "pinned":
        pins = ("-c", ROOT / "scripts" / "constraints.txt")
        place.run("installing", *pip, *pins, wanted, cwd=place.folder)
    elif versions == "newest":
        place.run("installing", *pip, "--upgrade", wanted, cwd=place.folder)
    else:
        # the lowest of what a user gets; what the tests alone need is the newest that fits
        lowest = place.folder / "lowest.txt"
        bounds = ("--resolution", "lowest-direct", "--extra", "parquet", "--extra", "postgresql")
        solve = (uv, "pip", "compile", "-q", "-p", place.python, *bounds, "-o", lowest)
        place.run("solving", *solve, ROOT / "pyproject.toml", cwd=place.folder)
        place.run("installing", *pip, "-r", lowest, wanted, cwd=place.folder)


def _uv(work: Path) -> Path:
    """The program uv, from an environment of its own."""
    place = Environment(work / "uv")
    if not place.python.exists():
        place.run("making a venv for uv", sys.executable, "-m", "venv", place.folder, cwd=work)
        place.run("installing uv", place.python, "-m", "pip", "install", "-q", "uv", cwd=work)
    return place.python.with_name("uv.exe" if os.name == "nt" else "uv")


def _pythons(version: str) -> Iterator[str]:
    """Every Python of this version on the search path or among pyenv's; such as run, alone."""
    pyenv = Path(os.environ.get("PYENV_ROOT", Path.home() / ".pyenv"))
    on_path = shutil.which(f"python{version}")
    built = sorted(pyenv.glob(f"versions/{version}.*/bin/python"))
    for each in filter(None, (sys.executable, on_path, *built)):
        done = subprocess.run([str(each), "--version"], capture_output=True, text=True, check=False)
        if re.match(rf"Python {re.escape(version)}\.", done.stdout):
            yield str(each)


if __name__ == "__main__":
    sys.exit(main())
