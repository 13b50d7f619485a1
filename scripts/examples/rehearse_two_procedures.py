"""Choose between two procedures by trying both on the same invented units.

The one judges by simple acceptance, the other keeps a guard band as wide as U. Which of them lets
fewer bad units pass, how many does it leave to a person, and what does it cost at the bench?

    python scripts/examples/rehearse_two_procedures.py [FOLDER] [--units 60] [--workers 2]

It prints the differences with their 95 % limits and a choice, and draws the figure
`two-procedures.svg` into the folder, beside the two procedures.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import ohmwright
from ohmwright.model.shipped import shipped
from ohmwright.rehearsal.comparison import PairedDifference

PROCEDURE = """
title = "Cut verification, {name}"
revision = "1"
model = "Quillon 300"

[decision]
rule = "{rule}"

[[step]]
kind = "power_curve"
name = "cut-full"
stages = ["as_left"]
mode = "cut"
setting_w = 310
loads_ohm = [100, 500, 2000]
power_w = [81.0, 305.6, 156.7]
tolerance = {{ percent = 8 }}
"""
RULES = {"simple": "simple acceptance", "guarded": "guard band"}


def written(folder: Path, name: str) -> Path:
    """Write the procedure `name` into `folder` and return its file."""
    path = folder / f"{name}.toml"
    path.write_text(PROCEDURE.format(name=name, rule=RULES[name]), encoding="utf-8")
    return path


def choice(differences: dict[str, PairedDifference]) -> str:
    """Return which procedure to take, as a sentence; `differences`: guarded less simple."""
    wrong, time = differences["false accept"], differences["bench_s"]
    if wrong.clear:
        return "Take the guarded one: it lets fewer bad units pass."
    if time.clear and time.difference > 0:
        return (
            "Take the simple one, or rehearse more units: the guarded one takes longer, and that "
            "it lets fewer bad units pass is not shown."
        )
    return "Rehearse more units: nothing that matters is clear yet."


def limits(one: PairedDifference) -> str:
    """Return the limits of a difference; one unit, or units all alike, tell none."""
    if one.lower is None or one.upper is None:
        return "not known"
    return f"{one.lower:+.3f} to {one.upper:+.3f}"


def main(folder: Path, units: int = 60, workers: int | None = None) -> None:
    """Rehearse both, print the differences and the choice, draw the figure into `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    bench = shipped("benches", "demo.toml")
    simple, guarded = (
        ohmwright.rehearse(written(folder, name), bench, units=units, workers=workers)
        for name in RULES
    )
    differences = simple.compare(guarded)
    print(f"{'guarded less simple':20} {'simple':>8} {'guarded':>8}   difference, 95 % limits")
    for name, one in differences.items():
        means = f"{one.first:8.3f} {one.second:8.3f} {one.difference:+8.3f}"
        print(f"{name:20} {means}   {limits(one)}")
    print(choice(differences))
    figure = folder / "two-procedures.svg"
    simple.plot(guarded).savefig(figure)
    print(f"Figure: {figure}")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folder", type=Path, nargs="?", default=Path())
    parser.add_argument("--units", type=int, default=60)
    parser.add_argument("--workers", type=int, default=None)
    options = parser.parse_args()
    main(options.folder, options.units, options.workers)
