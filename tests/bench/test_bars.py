"""The table of all bars: a figure counts as met only when its bench gave it."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from scripts.bench import all as everything
from scripts.bench import bars
from scripts.bench.figures import figures_in

BENCH = Path(__file__).parents[2] / "scripts" / "bench"


def bench_of(folder: Path, text: str) -> str:
    script = folder / "made_up.py"
    script.write_text(text)
    return str(script)


def judged(figures: dict[str, float], **changes):
    bar = bars.Bar("A", "speed", "made up", "ratio", 2.0, reference="plain_s")
    bar = replace(bar, **{key: v for key, v in changes.items() if key != "quick"})
    results = {"made up": everything.Ran(figures)}
    return everything.judged(bar, results, quick=changes.get("quick", False))


@pytest.mark.parametrize(
    ("figures", "verdict"),
    [
        ({"ratio": 2.0}, "met"),
        ({"ratio": 2.1}, "missed"),
        ({"ratio": float("nan")}, "missed"),
        ({"another": 1.0}, "not measured"),
        ({}, "not measured"),
    ],
)
def test_a_figure_that_is_not_there_is_not_met(figures, verdict) -> None:
    assert judged(figures).verdict == verdict


def test_at_least_is_the_other_way_round() -> None:
    assert judged({"ratio": 1.0}, bound="at least").verdict == "missed"
    assert judged({"ratio": 3.0}, bound="at least").verdict == "met"


def test_a_small_sample_meets_no_bar_of_a_population() -> None:
    small = judged({"ratio": 1.0}, quick=True, by_quick=False)
    assert (small.verdict, small.note) == ("not measured", "sample too small")
    assert judged({"ratio": 1.0}, by_quick=False).verdict == "met"


def test_a_quick_look_runs_what_it_can_judge_and_the_others_are_said_not_to_be_measured() -> None:
    assert everything.benches_that_judge(quick=False) == list(bars.BENCHES)
    left_out = set(bars.BENCHES) - set(everything.benches_that_judge(quick=True))
    assert left_out
    assert not any(bar.by_quick for bar in bars.BARS if bar.bench in left_out)
    of_population = next(bar for bar in bars.BARS if bar.bench in left_out)
    row = everything.judged(of_population, {}, quick=True)
    assert (row.verdict, row.note) == ("not measured", "sample too small")


def test_a_bar_without_a_bench_is_said_to_have_none() -> None:
    row = judged({"ratio": 1.0}, bench=None)
    assert (row.verdict, row.note) == ("not measured", "no bench yet")


@pytest.mark.parametrize(
    ("text", "broke", "skipped"),
    [
        ("print('{\"ratio\": 1}')", "", ""),
        ("raise SystemExit('no port')", "no port", ""),
        ("print('ratio: 1')", "it printed no JSON line", ""),
        ("import time; time.sleep(60)", "", "no time left"),
    ],
)
def test_a_bench_that_breaks_is_told_from_one_cut_short(
    tmp_path, monkeypatch, text, broke, skipped
) -> None:
    made_up = bars.Bench(bench_of(tmp_path, text))
    monkeypatch.setitem(everything.BENCHES, "made up", made_up)
    result = everything.ran("made up", quick=False, within_s=3.0)
    assert (result.broke, result.skipped) == (broke, skipped)
    assert result.figures == ({} if broke or skipped else {"ratio": 1.0})


def test_every_shape_of_json_line_has_its_figures_by_name() -> None:
    table = '{"rows": [{"situation": "nominal", "figure": "success", "value": 1, "bar": 0.9}]}'
    assert figures_in(f"a table\n{table}\n") == {"nominal: success": 1.0}
    assert figures_in('{"rows": [{"ratio": 0.2}, {"ratio": 0.4}, {"ratio": 0.3}]}') == {
        "ratio, median": 0.3,
        "ratio, worst": 0.4,
    }
    assert figures_in('{"ratios": {"a / b": 2}, "same": true}') == {"ratios: a / b": 2, "same": 1}
    assert figures_in('{"newest (12 rows): s": 3}') == {"newest: s": 3}
    assert figures_in('[{"points": 40, "paper": "PDF", "seconds": 0.5}]') == {"PDF, 40 points": 0.5}


def test_every_bar_names_a_bench_that_is_there() -> None:
    assert all((BENCH / bench.script).exists() for bench in bars.BENCHES.values())
    assert {bar.bench for bar in bars.BARS} - {None} == set(bars.BENCHES)
    assert all((bar.bench is None) == (bar.figure == "") for bar in bars.BARS)


@pytest.mark.parametrize("size", [[], ["--quick"]])
@pytest.mark.parametrize(
    ("text", "code", "verdict"),
    [("print('{\"ratio\": 9}')", 0, "missed"), ("raise SystemExit('no port')", 1, "not measured")],
)
def test_only_a_bench_that_breaks_ends_badly(
    tmp_path, monkeypatch, capsys, size, text, code, verdict
) -> None:
    monkeypatch.setitem(everything.BENCHES, "made up", bars.Bench(bench_of(tmp_path, text)))
    monkeypatch.setattr(everything, "BARS", (bars.Bar("A", "speed", "made up", "ratio", 2.0),))
    monkeypatch.setattr("sys.argv", ["all", "--only", "made up", "--json", *size])
    assert everything.main() == code
    assert [row["verdict"] for row in json.loads(capsys.readouterr().out)] == [verdict]
