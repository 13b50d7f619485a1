"""What a preview says of a step."""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmwright.api.bench_data import read_bench
from ohmwright.engine.procedure_file import read_procedure
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
