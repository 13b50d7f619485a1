"""One unit's power curve against those of others of its model, all from one place of records.

    python -m scripts.examples.unit_against_fleet FOLDER

Simulated units stand for the fleet. Writes unit.svg into FOLDER, and keeps the records there.
"""

from __future__ import annotations

import sys
from pathlib import Path
from statistics import fmean, stdev

import ohmwright
from ohmwright.model.shipped import shipped

BENCH = shipped("benches", "demo.toml")
PLAN = ohmwright.Sweep(modes={"cut": (310,)}, loads_ohm=(100, 200, 500, 1000, 2000))
UNITS = range(1, 9)
"""Seeds of the simulated units; the last one is held against the others."""


def main(folder: Path) -> None:
    """Measure each unit; hold the newest curve on record against the others."""
    folder.mkdir(parents=True, exist_ok=True)
    for seed in UNITS:
        with ohmwright.bench(BENCH, seed=seed) as bench:
            bench.measure(PLAN, records=str(folder))
    records = ohmwright.Records(str(folder))
    *others, unit = (records[run].curve for run in records)
    fleet = {
        point.key: [other.by_key()[point.key][0].power_w for other in others] for point in unit
    }
    for point in unit:
        mean_w, sd_w = fmean(fleet[point.key]), stdev(fleet[point.key])
        print(
            f"{point.load_ohm:g} ohm: {point.power_w:.1f} W, {len(others)} others "
            f"{mean_w:.1f} W with a standard deviation of {sd_w:.1f} W: "
            f"{(point.power_w - mean_w) / sd_w:+.1f}"
        )
    unit.plot(against=others).savefig(folder / "unit.svg")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
