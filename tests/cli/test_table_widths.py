"""Tables at a terminal of 80 columns: what is copied or decides is never cut."""

import re
from collections.abc import Callable
from io import StringIO
from itertools import pairwise
from pathlib import Path

import pytest
from rich.console import Console
from rich.table import Table

from ohmwright.cli.campaign_command import units_table
from ohmwright.cli.record_command import runs_table
from ohmwright.fleet.campaign_state import UnitState
from ohmwright.model.shipped import shipped
from tests.one_activation import one_activation

LONG = "HF-019-theatre-complex-north-identifier-0000000042"
SERIAL = "TQ3-" + 33 * "0" + "-X"


QUICK = one_activation("Quick", "Quillon 300")


def printed(table: Table) -> str:
    for column in table.columns:
        column.justify = "left"  # so that each begins where its heading does
    console = Console(width=80, file=StringIO())
    console.print(table)
    return console.file.getvalue()  # type: ignore[attr-defined,no-any-return]


def test_a_run_at_a_narrow_terminal_has_values_and_verdicts_whole(
    ohmwright: Callable, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    told = ohmwright("demo", "--records", tmp_path / "r").out
    measured, adjusted = told.partition("\nAdjusted\n")[::2]
    first = r"""
cut-full cut, 310 W
  100 ohm
    Limits: 76 to 86 W
    As found: 9\d\.\d ± \d\.\d FAIL
    As left: 8\d\.\d ± \d\.\d PASS
    TUR: \d\.\d
    P %: >99\.9
"""
    assert re.search(first, measured.partition("\nMeasured")[2])
    assert adjusted.startswith("cut current\n    Load: 100 ohm\n    Limits: 891 to 909 mA\n")
    assert re.search(r"\n    Landed at: \d{3}\.\d ± \d\.\d PASS\n", adjusted)
    assert "…" not in told


def test_a_sweep_and_a_list_at_a_narrow_terminal_are_whole(
    ohmwright: Callable, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    bench = ("--bench", shipped("benches", "demo.toml"), "--mode", "cut", "--settings", 155)
    told = ohmwright("sweep", *bench, "--loads", 500, "--records", tmp_path / "r").out
    measured = "cut\n    Setting: 155 W\n    Load: 500 ohm\n    Power ± U, W: "
    assert (measured in told, "…" in told) == (True, False)
    listed = ohmwright("record", "list", "--records", tmp_path / "r").out
    assert "-HF-017-" in listed.splitlines()[0]
    assert "    Date: 2026-01-05\n    Verdict: no limits sim.\n    Unit: HF-017\n" in listed


def test_a_list_of_runs_names_people_and_procedures_only_where_they_can_be_read(
    ohmwright: Callable, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = ("--bench", shipped("benches", "demo.toml"), "--mode", "cut", "--settings", 155)
    assert ohmwright("sweep", *bench, "--loads", 500, "--records", tmp_path / "r").code == 0
    for width, last in (("80", "Serial"), ("120", "Procedure")):
        monkeypatch.setenv("COLUMNS", width)
        told = ohmwright("record", "list", "--records", tmp_path / "r").out
        assert "…" not in told
        assert told.splitlines()[0].split()[-1] == last


@pytest.mark.parametrize("width", [40, 50, 60, 80])
def test_no_list_of_units_or_points_cuts_a_word(
    ohmwright: Callable, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, width: int
) -> None:
    here = ("--records", tmp_path / "r")
    plate = ("--maker", "Tessenhove", "--model", "Quillon 300", "--serial", "TQ3-20417")
    assert ohmwright("asset", "add", "HF-017", *plate, "--site", "Theatre 4", *here).code == 0
    bench = ("--bench", shipped("benches", "demo.toml"))
    procedure = tmp_path / "quick.toml"
    procedure.write_text(QUICK, encoding="utf-8")
    assert ohmwright("verify", procedure, *bench, *here).code == 0
    monkeypatch.setenv("COLUMNS", str(width))
    for words in (
        *(("record", "fleet"), ("record", "trend", "Quillon 300", "cut", "500 ohm")),
        *(("record", "creep", "--simulated"), ("record", "interval", "--simulated")),
        *(("record", "keys", "list"), ("worklist", "--simulated"), ("asset", "list")),
    ):
        told = ohmwright(*words, *here)
        assert (told.code, "…" in told.out) == (0, False), told.out
    for words in (("record", "fleet"), ("record", "creep", "--simulated"), ("worklist",)):
        lines = ohmwright(*words, *here).out.splitlines()
        assert any(line.startswith("HF-017") for line in lines), lines
    rehearsed = ohmwright("rehearse", procedure, *bench, "--units", "1", "--workers", "1")
    assert (rehearsed.code, "…" in rehearsed.out) == (0, False), rehearsed.out


def test_a_long_site_or_a_told_date_leaves_the_worklist_a_table(
    ohmwright: Callable, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    plate = ("--maker", "Tessenhove", "--model", "Quillon 300", "--serial", "TQ3-20417")
    where = ("--site", "Outpatients South, on loan for HF-005", "--last-passed", "2026-01-31")
    here = ("--records", tmp_path / "r")
    assert ohmwright("asset", "add", "HF-017", *plate, *where, *here).code == 0
    heading, *rows = ohmwright("worklist", *here).out.splitlines()
    assert heading.split()[:3] == ["Tag", "Model", "Site"]
    assert rows[0].startswith("HF-017  Quillon 300  Outpatients")
    assert "due 2027-01-31," in rows[0]


def columns_of(text: str) -> list[str]:
    """The text of each column, its lines joined; columns begin where their heading does."""
    lines = text.splitlines()
    starts = [found.start() for found in re.finditer(r"\S+", lines[0])] + [80]
    return [
        "".join(line[begin:end].strip() for line in lines[1:]) for begin, end in pairwise(starts)
    ]


def run_of(asset: str, serial: str) -> dict[str, object]:
    run_id = f"20261128T000314Z-{asset}-57fc"
    names = {"operator": "Imre Valdane of the day shift", "procedure": "Monopolar output"}
    return {"run_id": run_id, "asset": asset, "serial": serial, "voided": False, **names} | {
        "number": 1,
        "at": "2026-01-05T08:00:00Z",
        "verdict": "undecided",
        "work": "calibrate",
        "simulated": True,
        "refused": None,
        "not_traceable": False,
        "analyzer_past_due": False,
    }


@pytest.mark.parametrize(
    ("asset", "serial"), [("HF-017", "TQ3-20417"), ("HF-017", SERIAL), (LONG, SERIAL)]
)
def test_a_list_of_runs_has_verdict_run_unit_and_serial_whole(asset: str, serial: str) -> None:
    text = printed(runs_table([run_of(asset, serial)]))
    run, date, verdict, unit, number, *_ = columns_of(text)
    assert (date, verdict) == ("2026-01-05", "undecided sim.")
    assert (run, unit, number) == (f"20261128T000314Z-{asset}-57fc", asset, serial)


def test_a_short_number_of_a_run_stays_in_one_line_beside_a_long_serial() -> None:
    rows = [run_of("HF-017", SERIAL), run_of("HF-018", "TQ3-1")]
    assert "20261128T000314Z-HF-017-57fc" in printed(runs_table(rows))


@pytest.mark.parametrize("tag", ["HF-017", "HF-0123456789", LONG])
def test_a_campaign_has_tag_place_run_and_minutes_whole(tag: str) -> None:
    run_id = f"20261128T000314Z-{tag}-57fc"
    why = "the theatre is in use until the afternoon, and nobody is there to disconnect it"
    states = [UnitState(tag, "done", run_id=run_id, verdict="pass", words=why, minutes=123.4)]
    found = columns_of(printed(units_table(states)))
    assert (found[0], found[3], found[4]) == (tag, run_id, "123.4")
    assert "pass" in found[1]
