"""`demo --campaign`: five years of an invented fleet, at a place of their own."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ohmwright.cli import demo_campaign
from ohmwright.invented_history.fleet import InventedUnit, invented_fleet
from ohmwright.model.shipped import shipped


@pytest.fixture
def two_units(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same code on two units in place of fifty, which take some seconds."""
    monkeypatch.setattr(demo_campaign, "invented_fleet", lambda *of: invented_fleet(*of)[:2])


@pytest.mark.usefixtures("two_units")
def test_a_campaign_is_made_and_can_be_looked_at(ohmwright: Callable, tmp_path: Path) -> None:
    here = ("--records", tmp_path / "c")
    made = ohmwright("demo", "--campaign", *here)
    assert (made.code, "SIMULATED, seed 3" in made.out) == (0, True)
    assert "no bench has these units, and none of them can be run" in made.out
    commands = [line.split() for line in made.out.splitlines() if line.startswith("  ohmwright")]
    assert {command[1] for command in commands} == {"record", "certificate", "worklist"}
    for command in commands[:3]:
        assert ohmwright(*command[1:]).code == 0, command
    verified = ohmwright("record", "verify", *here)
    *_, last = verified.out.splitlines()
    # no instrument was read, so that the records have no readings
    assert (verified.code, "values computed once more." in last) == (0, True)
    assert "; none of " in last
    assert "not: no readings on record (by ohmwright" in verified.out.replace("\n", " ")
    paper = tmp_path / "paper.html"
    assert ohmwright("certificate", "last", "--html", paper, *here).code in (0, 1)
    assert "SIMULATED" in paper.read_text(encoding="utf-8").upper()
    again = ohmwright("demo", "--campaign", *here)
    assert (again.code, "has runs on record" in again.err) == (2, True)


@pytest.mark.usefixtures("two_units")
def test_who_begins_a_campaign_of_units_without_a_procedure_is_told_so(
    ohmwright: Callable, tmp_path: Path
) -> None:
    here = ("--records", tmp_path / "c")
    ohmwright("demo", "--campaign", *here)
    begun = ohmwright("campaign", "new", "today", "--simulated", *here)
    assert begun.code == 0
    assert "2 of 2 units cannot be run yet" in begun.err
    assert "no procedure for them: HF-10" in begun.err


def test_a_unit_that_was_taken_out_of_use_is_withdrawn_in_the_register(
    ohmwright: Callable, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def some_units(*of: Any) -> tuple[InventedUnit, ...]:
        units = invented_fleet(*of)
        (gone,) = (unit for unit in units if unit.withdrawn)
        return units[0], gone

    monkeypatch.setattr(demo_campaign, "invented_fleet", some_units)
    here = ("--records", tmp_path / "c")
    assert ohmwright("demo", "--campaign", *here).code == 0
    states = [one["state"] for one in ohmwright("asset", "list", *here, "--json").json]
    assert states == ["in service", "withdrawn"]


@pytest.mark.usefixtures("two_units")
def test_the_same_as_a_document(ohmwright: Callable, tmp_path: Path) -> None:
    made = ohmwright("demo", "--campaign", "--seed", 5, "--records", tmp_path, "--json").json
    assert (made["simulated"], made["seed"], len(made["units"])) == (True, 5, 2)
    assert len(made["runs"]) == sum(len(unit["visits"]) for unit in made["units"])
    assert sum(made["verdicts"].values()) == len(made["runs"])


def test_a_campaign_opens_no_line(ohmwright: Callable, tmp_path: Path) -> None:
    fault = ("--fault", "unplug:reply:once:3")
    refused = ohmwright("demo", "--campaign", *fault, "--records", tmp_path / "c")
    assert (refused.code, "opens no line" in refused.err) == (2, True)


@pytest.mark.parametrize("data", ["teasel-200", "isken-120", "dunlin-350", "fenlark-60"])
def test_its_procedures_run_on_the_shipped_bench_s_analyzer(
    ohmwright: Callable, tmp_path: Path, data: str
) -> None:
    """A model of the campaign is one like any other: `lint` takes its procedure."""
    text = shipped("benches", "demo.toml").read_text(encoding="utf-8")
    text = text.replace("quillon-300", data)
    text = text.replace("Quillon 300", data.replace("-", " ").title())
    if data == "isken-120":  # has no port
        head, _, tail = text.partition('data = "isken-120"\nlink = { kind = "simulated" }')
        text = f'{head}data = "isken-120"{tail}'
    bench = tmp_path / "bench.toml"
    bench.write_text(text, encoding="utf-8")
    procedure = shipped("procedures", f"{data}-yearly.toml")
    linted = ohmwright("lint", procedure, "--bench", bench)
    assert linted.code == 0, linted.err + linted.out
