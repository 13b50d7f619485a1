"""Units of the demo's population through its whole procedure: every adjustment ends right.

What the points before taught of the unit lets moves begin amid the rise: one point alone, as the
benches of scripts/bench/adjust.py draw them, never shows that.
"""

from dataclasses import replace

import pytest

from ohmwright.model.shipped import shipped
from ohmwright.rehearsal.from_files import rehearsed_files
from ohmwright.rehearsal.unit_run import Rehearsed

PROCEDURE = shipped("procedures", "demo-monopolar.toml")
BENCH = shipped("benches", "demo.toml")


@pytest.fixture(scope="module")
def rehearsed() -> Rehearsed:
    (whole,) = rehearsed_files([PROCEDURE], BENCH, seed=11, unattended=True)
    return replace(whole, stages=("as_found", "adjust"))


@pytest.mark.parametrize("unit", [0, 2, 3, 7])
def test_every_adjustment_point_is_brought_into_tolerance(rehearsed: Rehearsed, unit: int) -> None:
    outcome = rehearsed.run_unit(unit)
    adjusted = [p for p in outcome.points if p.stage == "adjust"]
    assert len(adjusted) == 6
    assert {(p.verdict, p.inside) for p in adjusted} == {("pass", True)}
    assert max(p.on_s for p in adjusted) < 90
