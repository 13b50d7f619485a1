"""The guard as the command line has it: on for a bench that is reached over a port."""

from collections.abc import Callable
from pathlib import Path

from ohmwright.model.shipped import shipped

DEMO = shipped("benches", "demo.toml").read_text(encoding="utf-8")


def real_bench(tmp_path: Path) -> Path:
    bench = tmp_path / "real.toml"
    link = 'link = { kind = "tcp", port = 9 }'
    text = DEMO.replace('link = { kind = "simulated" }', link).partition("[simulation]")[0]
    bench.write_text(text, encoding="utf-8")
    return bench


def test_a_real_bench_is_not_worked_without_a_guard(
    ohmwright: Callable, procedure: Path, tmp_path: Path
) -> None:
    bench = real_bench(tmp_path)
    for command in (
        ("doctor", "--bench", bench),
        ("verify", procedure, "--bench", bench, "--records", tmp_path, "--unattended"),
        ("sweep", "--bench", bench, "--mode", "cut", "--settings", "100"),
    ):
        outcome = ohmwright(*command, "--no-guard")
        assert outcome.code == 2
        assert "not worked without its guard" in outcome.err


def test_a_simulated_bench_may_do_without(ohmwright: Callable) -> None:
    bench = shipped("benches", "demo.toml")
    findings = ohmwright("doctor", "--bench", bench, "--no-guard", "--json").json
    assert {f["check"]: f["state"] for f in findings}["the guard trips"] == "not checked"


def test_a_port_for_a_bench_without_one(ohmwright: Callable, tmp_path: Path) -> None:
    outcome = ohmwright("doctor", "--bench", real_bench(tmp_path), "--port", "serial=A1")
    assert outcome.code == 2
    assert "--port is for an analyzer on a serial port" in outcome.err


def test_another_unit_does_not_go_on_with_a_run(
    ohmwright: Callable, procedure: Path, cut_short: Callable, tmp_path: Path
) -> None:
    bench, records = tmp_path / "bench.toml", tmp_path / "records"
    bench.write_text(DEMO, encoding="utf-8")
    command = ("verify", procedure, "--bench", bench, "--records", records, "--unattended")
    run = ohmwright(*command, "--json").json["run"]
    cut_short(records, run, "stage_started")
    bench.write_text(DEMO.replace("seed = 3", "seed = 4"), encoding="utf-8")
    outcome = ohmwright(*command, "--resume", run)
    assert outcome.code == 3
    assert "was begun with" in outcome.err
