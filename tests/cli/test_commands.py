"""Commands end to end on the simulated bench: tables, JSON, exit codes, resume."""

import csv
import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from ohmwright.model.shipped import shipped

DEMO_BENCH = shipped("benches", "demo.toml")
DEMO_PROCEDURE = shipped("procedures", "demo-monopolar.toml")


def test_demo_tells_a_technician_what_happened_and_names_the_record(
    ohmwright: Callable, tmp_path: Path
) -> None:
    outcome = ohmwright("demo", "--records", tmp_path)
    assert outcome.code == 0
    for words in (
        "DRIFTED",
        "Expected at the adjustment points",
        "As found",
        "As left",
        "FAIL",
        "SIMULATED",
        "Result: PASS",
        "Trim",
    ):
        assert words in outcome.out
    record = tmp_path / "records.sqlite"
    assert f"Record: {record}" in outcome.out
    tables = outcome.out.partition("Record: ")[0]
    assert max(map(len, tables.splitlines())) <= 80
    assert {p.suffix for p in (tmp_path / "certificates").iterdir()} == {".pdf", ".html"}
    assert ohmwright("record", "verify", "--records", tmp_path).code == 0


def test_verify_as_json_says_what_the_exit_code_says(
    ohmwright: Callable, procedure: Path, tmp_path: Path
) -> None:
    outcome = ohmwright(
        "verify", procedure, "--bench", DEMO_BENCH, "--records", tmp_path / "r", "--json"
    )
    assert outcome.code == 1
    assert outcome.json["verdict"] == "fail"
    assert [r["verdict"] for r in outcome.json["results"]] == ["fail", "pass"]
    assert "CAUTION" in outcome.err


def test_what_nobody_adjusted_is_measured_once_and_is_as_found(
    ohmwright: Callable, procedure: Path, tmp_path: Path
) -> None:
    text = (
        procedure.read_text(encoding="utf-8")
        .replace("loads_ohm = [100, 500]", "loads_ohm = [500]")
        .replace("power_w = [81.0, 305.6]", "power_w = [305.6]")
    )
    step = text.partition("[[step]]")[2].replace('"cut"', '"again"', 1)
    procedure.write_text(f'{text}\n[[step]]{step}stages = ["as_left"]\n', encoding="utf-8")
    here = ("--records", tmp_path / "r")
    outcome = ohmwright("verify", procedure, "--bench", DEMO_BENCH, *here, "--json")
    seen = [(one["stage"], one["step"]) for one in outcome.json["results"]]
    assert seen == [("as_found", "cut"), ("as_found", "again")]
    ohmwright("certificate", *here, "--html", tmp_path / "c.html")
    page = (tmp_path / "c.html").read_text(encoding="utf-8")
    assert ("As found" in page, "As left" in page, "as left" in page) == (True, False, False)


def test_a_cut_short_record_resumes(
    ohmwright: Callable, procedure: Path, cut_short: Callable, tmp_path: Path
) -> None:
    arguments = ("--bench", DEMO_BENCH, "--records", tmp_path, "--unattended", "--json")
    whole = ohmwright("verify", procedure, *arguments)
    run = whole.json["run"]
    cut_short(tmp_path, run, "point_done")
    again = ohmwright("verify", procedure, "--resume", run, *arguments)
    assert [r["point"] for r in again.json["results"]] == ["100 ohm", "500 ohm"]
    assert again.json["results"][0] == whole.json["results"][0]
    assert again.code == 1
    assert ohmwright("record", "verify", "--records", tmp_path).code == 0
    twice = ohmwright("verify", procedure, "--resume", run, *arguments)
    assert (twice.code, "cannot be resumed" in twice.err) == (2, True)


def test_a_changed_procedure_does_not_resume(
    ohmwright: Callable, procedure: Path, cut_short: Callable, tmp_path: Path
) -> None:
    arguments = ("--bench", DEMO_BENCH, "--records", tmp_path, "--unattended", "--json")
    whole = ohmwright("verify", procedure, *arguments)
    cut_short(tmp_path, whole.json["run"], "point_done")
    procedure.write_text(procedure.read_text().replace("percent = 5", "percent = 9"))
    outcome = ohmwright("verify", procedure, "--resume", whole.json["run"], *arguments)
    assert outcome.code == 2
    assert "another text of the procedure" in outcome.err
    assert "The record so far" not in outcome.err  # nor to go on with the command that was refused


def test_a_run_is_resumed_by_the_command_that_began_it(
    ohmwright: Callable, procedure: Path, cut_short: Callable, tmp_path: Path
) -> None:
    arguments = ("--bench", DEMO_BENCH, "--records", tmp_path, "--unattended")
    run = ohmwright("calibrate", procedure, *arguments, "--json").json["run"]
    cut_short(tmp_path, run, "point_done")
    refused = ohmwright("verify", procedure, *arguments, "--resume", run)
    assert refused.code == 2
    assert "was begun with: as found, adjust, as left; it is to go on with: as found." in " ".join(
        refused.err.split()
    )
    command = f"'ohmwright calibrate … --resume {run} --records {tmp_path}'"
    assert command in " ".join(refused.err.split())


def test_sweep_writes_csv_and_agrees_with_ohms_law(ohmwright: Callable, tmp_path: Path) -> None:
    path = tmp_path / "curve.csv"
    outcome = ohmwright(
        *("sweep", "--bench", DEMO_BENCH, "--mode", "cut", "--settings", "150,300"),
        *("--loads", "200,1000", "--csv", path, "--json"),
    )
    assert outcome.code == 0
    rows = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
    assert [(row["setting_w"], row["load_ohm"]) for row in rows] == [
        ("150.0", "200.0"),
        ("150.0", "1000.0"),
        ("300.0", "200.0"),
        ("300.0", "1000.0"),
    ]
    for row in outcome.json:
        amps = row["current_ma"] / 1000
        assert row["power_w"] == pytest.approx(amps**2 * row["load_ohm"], rel=1e-4)
        assert row["voltage_v"] == pytest.approx(amps * row["load_ohm"], rel=1e-4)


def test_lint_doctor_schema(ohmwright: Callable, tmp_path: Path) -> None:
    assert ohmwright("lint", DEMO_PROCEDURE, "--bench", DEMO_BENCH).code == 0
    doctor = ohmwright("doctor", "--bench", DEMO_BENCH, "--json")
    assert doctor.code == 0
    assert {finding["state"] for finding in doctor.json} == {
        *("good", "stated", "absent", "not checked")
    }
    assert ohmwright("schema", tmp_path / "s").code == 0
    schema = json.loads((tmp_path / "s" / "procedure.schema.json").read_text())
    assert "step" in schema["properties"]


def test_help_names_commands_and_exit_codes(ohmwright: Callable) -> None:
    outcome = ohmwright("--help")
    assert outcome.code == 0
    for words in ("calibrate", "verify", "sweep", "doctor", "5 RF state unknown"):
        assert words in outcome.out


def test_no_color_is_honoured(
    ohmwright: Callable, procedure: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    command = ("verify", procedure, "--bench", DEMO_BENCH, "--records", tmp_path, "--unattended")
    monkeypatch.setenv("FORCE_COLOR", "1")
    assert "\x1b[3" in ohmwright(*command).out
    monkeypatch.setenv("NO_COLOR", "1")
    assert "\x1b[3" not in ohmwright(*command).out


def test_help_waits_for_no_heavy_import() -> None:
    heavy = ("sqlalchemy", "alembic", "cryptography", "numpy", "scipy", "pydantic", "psycopg")
    heavy += ("matplotlib", "typst", "lxml", "segno", "fontTools")
    look = f"import sys, ohmwright.cli.main; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
