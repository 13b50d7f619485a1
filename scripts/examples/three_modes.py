"""The power curves of three modes, each pass shuffled, with the limits of a procedure.

    python -m scripts.examples.three_modes FOLDER

Writes curves.parquet, curves.csv and curves.svg into FOLDER, and keeps the record there.
"""

from __future__ import annotations

import sys
from pathlib import Path

import ohmwright
from ohmwright.model.shipped import shipped

BENCH = shipped("benches", "demo.toml")
PROCEDURE = shipped("procedures", "demo-monopolar.toml")
PLAN = ohmwright.Sweep(
    modes={"cut": (155, 310), "blend": (95, 190), "coag": (50, 105)},
    loads_ohm=(50, 100, 200, 300, 500, 1000, 2000, 3000),
    repeats=2,
    order="random",
    on_fault="go on",
)


def main(folder: Path) -> None:
    """Measure, write and draw."""
    folder.mkdir(parents=True, exist_ok=True)
    cost = PLAN.estimate(BENCH)
    print(f"{cost.points} points, about {cost.bench_s / 60:.0f} min, RF on for {cost.rf_s:.0f} s")
    with ohmwright.bench(BENCH) as bench:
        curve = bench.measure(
            PLAN, out=folder / "curves.parquet", records=str(folder), overwrite=True
        )
    curve.save(folder / "curves.csv")
    curve.plot(band=PROCEDURE).savefig(folder / "curves.svg")
    for remark in curve.remarks():
        print(remark)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
