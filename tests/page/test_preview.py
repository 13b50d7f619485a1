"""What a preview says of a step."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from ohmwright.api.bench_data import read_bench
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.model.step import STAGES
from ohmwright.page.preview import preview

PROCEDURE = """\
title = "Leakage"
revision = "1"
model = "Quillon 300"

[[step]]
kind = "leakage"
name = "leak"
mode = "cut"
setting_w = 310
"""


@pytest.mark.parametrize(
    ("limit", "shown"),
    [
        ("limit_ma = 150", [["limit", "150 mA"]]),
        ("rated_power_w = 310", [["rated power", "310 W"], ["limit", "1 %"]]),
    ],
)
def test_a_step_shows_the_limit_that_holds_and_no_default_of_another_form(
    tmp_path: Path, limit: str, shown: list[list[str]]
) -> None:
    path = tmp_path / "p.toml"
    path.write_text(f"{PROCEDURE}{limit}\n", encoding="utf-8")
    bench = read_bench(Path("sim_profiles/benches/demo.toml"))
    (step,) = preview(read_procedure(path), bench, unattended=False)["steps"]
    assert step["settings"][3:] == shown


def test_a_tolerance_of_two_parts_says_that_the_larger_holds() -> None:
    bench = read_bench(Path("sim_profiles/benches/demo.toml"))
    demo = read_procedure(Path("sim_profiles/procedures/demo-monopolar.toml"))
    first, second, *_ = preview(demo, bench, unattended=False)["steps"]
    assert ["tolerance", "6 %, 5 W, the larger of the two"] in first["settings"]
    assert ["tolerance", "6 %"] in second["settings"]


def test_the_times_of_steps_and_stages_are_of_the_same_points() -> None:
    bench = read_bench(Path("sim_profiles/benches/demo.toml"))
    demo = read_procedure(Path("sim_profiles/procedures/demo-monopolar.toml"))
    found = preview(demo, bench, unattended=False)
    stages = found["stages"]
    for stage in STAGES:
        of_stage = [len(s["points"]) for s in found["steps"] if stage in s["stages"]]
        assert stages[stage]["points"] == sum(of_stage) > 0
    whole_s = sum(stage["expected_s"] for stage in stages.values())
    assert whole_s == pytest.approx(sum(step["expected_s"] for step in found["steps"]))


def test_what_a_run_would_be_refused_for_is_told_before_it_is_begun() -> None:
    bench = read_bench(Path("sim_profiles/benches/attended.toml"))
    by_hand = read_procedure(Path("sim_profiles/procedures/attended-marlow.toml"))
    assert not preview(by_hand, bench, unattended=False)["refused"]
    assert preview(by_hand, bench, unattended=True)["refused"], "nobody would press its keys"
    stated = bench.certificate
    assert stated is not None
    old = {"calibrated_on": date(2001, 1, 1), "due_on": date(2002, 1, 1)}
    past_due = replace(bench, certificate=stated.model_copy(update=old))
    assert preview(by_hand, past_due, unattended=False)["refused"]
