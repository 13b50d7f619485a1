"""Make .venv when it is missing and install ohmwright into it, with pinned versions.

    scripts/setup [EXTRA]              (EXTRA: dev)
    python scripts/setup.py [EXTRA]    where there is no shell, as on Windows

PYTHON names another Python than the one that runs this.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import NoReturn

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
WINDOWS = os.name == "nt"
VENV_PYTHON = VENV / ("Scripts/python.exe" if WINDOWS else "bin/python")
_NEEDS = (3, 11)
_IS_NEW_ENOUGH = f"import sys; sys.exit(sys.version_info < {_NEEDS})"


def set_up(extra: str = "") -> None:
    """Make .venv complete for `extra`; ends the program with code 2 where that cannot be done."""
    if not VENV_PYTHON.exists():
        _make_venv(os.environ.get("PYTHON") or sys.executable)
    stamp = VENV / f"installed{extra and '-' + extra}"
    sources = (ROOT / "pyproject.toml", ROOT / "scripts" / "constraints.txt")
    if not stamp.exists() or any(_changed(each) > _changed(stamp) for each in sources):
        _install(extra)
        stamp.touch()


def run_in_venv(*command: str) -> NoReturn:
    """Run the Python of .venv with these arguments in this program's place; never returns."""
    words = [str(VENV_PYTHON), *command]
    if not WINDOWS:
        os.execv(words[0], words)
    # exec would give the console back at once there; Ctrl-C is for the child alone to answer
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    sys.exit(subprocess.run(words, check=False).returncode)


def _changed(path: Path) -> float:
    return path.stat().st_mtime


def _make_venv(python: str) -> None:
    if subprocess.run([python, "-c", _IS_NEW_ENOUGH], check=False).returncode != 0:
        _end("ohmwright needs Python 3.11 or newer; set PYTHON to one.")
    if subprocess.run([python, "-m", "venv", str(VENV)], check=False).returncode != 0:
        _end(
            f"Could not make {VENV}. Is the folder writable? On Debian install the package "
            "python3-venv."
        )


def _install(extra: str) -> None:
    print("Installing ohmwright into .venv ...", file=sys.stderr)
    what = f"{ROOT}[{extra}]" if extra else str(ROOT)
    pip = [str(VENV_PYTHON), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    pip += ["--no-compile"]  # what is imported is compiled then; most of it never is
    pins = ["--constraint", str(ROOT / "scripts" / "constraints.txt")]
    if subprocess.run([*pip, *pins, "--editable", what], check=False).returncode != 0:
        _end("The packages could not be installed; pip has said why.")


def _end(message: str) -> NoReturn:
    print(message, file=sys.stderr)
    sys.exit(2)


if __name__ == "__main__":
    set_up(*sys.argv[1:2])
    print(f"Ready: {VENV_PYTHON.parent / 'ohmwright'} --help", file=sys.stderr)
