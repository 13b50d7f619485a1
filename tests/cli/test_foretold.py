"""What a bench may not decide: printed by `lint` and by a run, and no reason to refuse either."""

from collections.abc import Callable
from pathlib import Path

import pytest

from ohmwright.model.shipped import shipped

PROCEDURE = """title = "t"
revision = "1"
model = "Quillon 300"

[[step]]
kind = "output"
name = "cut"
mode = "cut"
setting_w = 150
load_ohm = 500
current_ma = 548
tolerance = { absolute_ma = 5 }
"""
WHAT = (
    "500 ohm: by the last digit of 5 mA an output is seen to pass only within ±0.67 mA, where "
    "±5 mA are accepted; a digit of 2.8 mA or a tolerance of ±8.7 mA would do"
)


@pytest.fixture
def files(tmp_path: Path) -> tuple[Path, Path]:
    """A procedure, and a bench whose meter has a coarse digit."""
    analyzer = shipped("analyzers", "gantry-400.toml").read_text(encoding="utf-8")
    coarse = analyzer.replace("resolution_ma = 1\n", "resolution_ma = 5\n")
    (tmp_path / "coarse.toml").write_text(coarse, encoding="utf-8")
    bench = shipped("benches", "demo.toml").read_text(encoding="utf-8")
    bench = bench.replace('data = "gantry-400"', 'data = "coarse.toml"')
    (tmp_path / "bench.toml").write_text(bench, encoding="utf-8")
    (tmp_path / "p.toml").write_text(PROCEDURE, encoding="utf-8")
    return tmp_path / "p.toml", tmp_path / "bench.toml"


def test_lint_prints_it_with_its_place_and_refuses_nothing(
    ohmwright: Callable, files: tuple[Path, Path]
) -> None:
    procedure, bench = files
    outcome = ohmwright("lint", procedure, "--bench", bench)
    assert (outcome.code, outcome.err) == (0, "")
    told, summary = outcome.out.splitlines()
    assert told == f"{procedure}:12:1: warning: step 'cut': {WHAT}."
    assert summary.startswith(f"{procedure}: 1 step, 1 warning, else nothing wrong")


@pytest.mark.parametrize(
    ("said", "instead", "place", "what"),
    [
        ("absolute_ma = 5 ", "percent = 200 ", "12:1", "a tolerance of 200 percent is as wide"),
        (
            "{ absolute_ma = 5 }",
            "{ lower = { percent = 5 }, upper = { percent = 150 } }",
            "12:1",
            "a tolerance of 150 percent",
        ),
        (
            "absolute_ma = 5 ",
            "absolute_ma = 600 ",
            "12:1",
            "500 ohm: the lower limit is -52 mA, below zero",
        ),
        ("[[step]]", "[defaults]\nrest_s = 7200\n[[step]]", "6:1", "rest_s = 7200 is 2 h"),
    ],
)
def test_lint_warns_of_what_is_hardly_meant(
    ohmwright: Callable, files: tuple[Path, Path], said: str, instead: str, place: str, what: str
) -> None:
    procedure, _ = files
    procedure.write_text(PROCEDURE.replace(said, instead, 1), encoding="utf-8")
    outcome = ohmwright("lint", procedure)
    told, summary = outcome.out.splitlines()
    assert outcome.code == 0
    assert told.startswith(f"{procedure}:{place}: warning: step 'cut': {what}"), told
    assert "1 step, 1 warning, else nothing wrong" in summary


def test_lint_takes_upper_limits_and_usual_figures_without_a_word(
    ohmwright: Callable, files: tuple[Path, Path]
) -> None:
    procedure, _ = files
    leakage = """
[[step]]
kind = "leakage"
name = "leak"
mode = "cut"
setting_w = 310
limit_ma = 150
rest_s = 600
"""
    wide = PROCEDURE.replace("absolute_ma = 5 ", "percent = 40 ") + leakage
    procedure.write_text(wide, encoding="utf-8")
    assert len(ohmwright("lint", procedure).out.splitlines()) == 1


def test_lint_names_a_stage_in_which_nothing_is_measured(
    ohmwright: Callable, files: tuple[Path, Path]
) -> None:
    procedure, _ = files
    text = PROCEDURE.replace("[[step]]", '[[step]]\nstages = ["as_found"]', 1)
    procedure.write_text(text, encoding="utf-8")
    last = ohmwright("lint", procedure).out.splitlines()[-1]
    assert last == "As left: no step, nothing is measured."


def test_lint_gives_it_as_json(ohmwright: Callable, files: tuple[Path, Path]) -> None:
    procedure, bench = files
    assert ohmwright("lint", procedure, "--json").json == []
    assert ohmwright("lint", procedure, "--bench", bench, "--json").json == [
        {
            "file": str(procedure),
            "severity": "warning",
            "line": 12,
            "column": 1,
            "step": "cut",
            "what": WHAT,
        }
    ]


def test_a_run_prints_and_keeps_it(
    ohmwright: Callable, files: tuple[Path, Path], tmp_path: Path
) -> None:
    procedure, bench = files
    records = ("--records", tmp_path / "r")
    outcome = ohmwright("verify", procedure, "--bench", bench, "--unattended", *records, "--json")
    assert f"warning: step 'cut': {WHAT}." in outcome.err
    assert ohmwright("certificate", "--html", tmp_path / "c.html", *records).code == 0
    paper = " ".join((tmp_path / "c.html").read_text(encoding="utf-8").split())
    assert f"told before RF, warning of cut: {WHAT}" in paper
