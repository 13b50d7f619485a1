"""The command `rehearse`: table, JSON, figure, comparison, units like those on record."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from ohmwright.model.shipped import shipped
from ohmwright.rehearsal.rehearse import Sharing
from ohmwright.rehearsal.unit_run import Rehearsed
from ohmwright.rehearsal.workers import Done
from tests.full_disk import files_of_at_most

BENCH = shipped("benches", "demo.toml")


def test_two_forms_of_a_procedure_on_the_same_units(
    ohmwright: Callable[..., Any], procedure: Path, tmp_path: Path
):
    other, figure = tmp_path / "half.toml", tmp_path / "figure.svg"
    text = procedure.read_text(encoding="utf-8")
    other.write_text(
        text.replace("loads_ohm = [100, 500]", "loads_ohm = [500]").replace(
            "[81.0, 305.6]", "[305.6]"
        ),
        encoding="utf-8",
    )
    command = ("rehearse", procedure, "--bench", BENCH, "--units", 2, "--workers", 1)
    ended = ohmwright(*command, "--compare", other, "--plot", figure, "--json")
    assert ended.code == 0, ended.err
    first, second = ended.json["rehearsals"]
    assert first["units"] == second["units"] == 2
    assert first["simulated"] is True
    assert second["bench_s"]["mean"] < first["bench_s"]["mean"]
    (saved,) = [one for one in ended.json["comparison"] if one["name"] == "bench_s"]
    assert saved["difference"] == pytest.approx(
        second["bench_s"]["mean"] - first["bench_s"]["mean"]
    )
    assert "Steps that cost most" in figure.read_text(encoding="utf-8")
    refused = ohmwright(*command, "--plot", figure)
    assert refused.code == 2
    assert "figure.svg exists" in refused.err.replace("\n", "")


def test_the_table_says_that_it_is_simulated(ohmwright: Callable[..., Any], procedure: Path):
    ended = ohmwright("rehearse", procedure, "--bench", BENCH, "--units", 1, "--workers", 1)
    assert ended.code == 0, ended.err
    assert ": 1 invented unit, SIMULATED" in ended.out
    for words in ("SIMULATED", "false accept", "Hardest tolerances", "95 % limits"):
        assert words in ended.out


def test_procedures_of_one_title_are_told_apart_by_their_files(
    ohmwright: Callable[..., Any], procedure: Path, tmp_path: Path
):
    other = tmp_path / "guarded.toml"
    other.write_bytes(procedure.read_bytes())
    command = ("rehearse", procedure, "--bench", BENCH, "--units", 1, "--workers", 1)
    ended = ohmwright(*command, "--compare", other)
    assert ended.code == 0, ended.err
    for path in (procedure, other):
        assert f"({path.name}): 1 invented unit, SIMULATED" in " ".join(ended.out.split())


def test_records_that_tell_too_little_are_refused(
    ohmwright: Callable[..., Any], procedure: Path, tmp_path: Path
):
    records = tmp_path / "records"
    assert ohmwright("verify", procedure, "--bench", BENCH, "--records", records).code in (0, 1)
    ended = ohmwright("rehearse", procedure, "--bench", BENCH, "--like", records)
    assert ended.code == 2
    assert "tell too little of Quillon 300" in ended.err.replace("\n", " ")


def test_a_stopped_one_says_what_is_missing_and_how_to_have_it(
    ohmwright: Callable[..., Any], procedure: Path, monkeypatch: pytest.MonkeyPatch
):
    def outcomes(_: Sharing, rehearsed: tuple[Rehearsed, ...], __: object) -> Iterator[Done]:
        yield 0, rehearsed[0].run_unit(0)
        raise KeyboardInterrupt

    monkeypatch.setattr(Sharing, "outcomes", outcomes)
    ended = ohmwright("rehearse", procedure, "--bench", BENCH, "--units", 3)
    assert ended.code == 4, ended.err
    said = " ".join(ended.out.split())
    assert "Stopped: 2 of 3 units not run. Outcomes are kept nowhere: the same command runs" in said
    assert "runs all 3 units, from the first one on." in said


def test_a_disk_without_room_for_the_picture_does_not_take_the_figures(
    ohmwright: Callable[..., Any], procedure: Path, tmp_path: Path
):
    command = ("rehearse", procedure, "--bench", BENCH, "--units", 1, "--workers", 1)
    with files_of_at_most(8192):
        ended = ohmwright(*command, "--plot", tmp_path / "figure.pdf")
    assert "1 invented unit, SIMULATED" in ended.out
    assert ended.code == 2
    assert "cannot be written: File too large" in ended.err.replace("\n", " ")
    assert not list(tmp_path.glob("figure*"))
