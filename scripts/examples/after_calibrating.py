"""A unit is calibrated; its power curve before and after, with the limits of the procedure.

    python -m scripts.examples.after_calibrating FOLDER

Writes before.parquet, after.parquet, after.svg and certificate.pdf into FOLDER, and keeps the
records there.
"""

from __future__ import annotations

import sys
from pathlib import Path

import ohmwright
from ohmwright.model.shipped import shipped

BENCH = shipped("benches", "demo.toml")
PROCEDURE = shipped("procedures", "demo-monopolar.toml")
PLAN = ohmwright.Sweep(
    modes={"cut": (310,), "coag": (105,)}, loads_ohm=(100, 200, 500, 1000, 2000), order="snake"
)


def main(folder: Path) -> None:
    """Measure, calibrate, measure again and compare."""
    folder.mkdir(parents=True, exist_ok=True)
    records = str(folder)
    with ohmwright.bench(BENCH) as bench:
        before = bench.measure(PLAN, out=folder / "before.parquet", records=records, overwrite=True)
        run = bench.run(PROCEDURE, records=records)
        after = bench.measure(PLAN, out=folder / "after.parquet", records=records, overwrite=True)
    print(f"{run.id}: {run.verdict}")
    run.certificate(folder / "certificate.pdf", overwrite=True)
    for point in after.compare(before).certain():
        print(
            f"{point.mode} {point.setting_w:g} W, {point.load_ohm:g} ohm: "
            f"{point.difference_w:+.1f} W, U = {point.expanded_w:.1f} W"
        )
    after.plot(band=PROCEDURE, against=before).savefig(folder / "after.svg")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
