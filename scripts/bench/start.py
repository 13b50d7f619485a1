"""How long the program takes to start: `--help` beside importing typer alone, and a whole demo.

    python scripts/bench/start.py [--rounds 9]

Medians of processes run by turns; prints one table and a JSON line.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from timeit import default_timer

OHMWRIGHT = str(Path(sys.executable).with_name("ohmwright"))


_COMPILED_ONCE = {key: os.environ[key] for key in os.environ if key != "PYTHONDONTWRITEBYTECODE"}
"""With that variable, as in some containers, each start compiles every module anew: a second or two
that no user's start has but the first."""


def seconds(*command: str) -> float:
    """Wall seconds of a process that must end well; its modules are compiled by the first one."""
    start = default_timer()
    nowhere = subprocess.DEVNULL
    subprocess.run(command, check=True, env=_COMPILED_ONCE, stdout=nowhere, stderr=nowhere)
    return default_timer() - start


def main() -> None:
    """Print the table and the JSON line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--rounds", type=int, default=9)
    rounds: int = parser.parse_args().rounds
    pairs = [
        (seconds(OHMWRIGHT, "--help"), seconds(sys.executable, "-c", "import typer"))
        for _ in range(rounds + 1)
    ][1:]
    helped_s, typer_s = (median(column) for column in zip(*pairs, strict=True))
    ratio = median(ours / reference for ours, reference in pairs)
    with TemporaryDirectory(prefix="ohmwright-bench-") as folder:
        demo_s = seconds(OHMWRIGHT, "demo", "--records", folder)
    print(f"{'ohmwright --help':24} {helped_s:7.3f} s")
    print(f"{'import typer':24} {typer_s:7.3f} s")
    print(f"{'ratio (bar 1.5)':24} {ratio:7.2f}")
    print(f"{'ohmwright demo':24} {demo_s:7.2f} s")
    said = {"help": ratio, "help_s": helped_s, "import_typer_s": typer_s, "demo_s": demo_s}
    print(json.dumps({"bench": "start"} | said))


if __name__ == "__main__":
    main()
