"""What `record verify`, `show`, `certificate` and `amend` say of a record that is not right."""

from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from ohmwright.cli.open_records import open_records
from ohmwright.model.event import Event, PointDone
from ohmwright.model.shipped import shipped

from .test_ledger_remembered import cut_off_the_last_entry

DEMO_BENCH = shipped("benches", "demo.toml")


@pytest.fixture
def measured(ohmwright: Callable, procedure: Path, tmp_path: Path) -> Path:
    place = tmp_path / "r"
    ohmwright("verify", procedure, "--bench", DEMO_BENCH, "--records", place, "--unattended")
    return place


def events_of(place: Path) -> tuple[Event, ...]:
    with open_records(str(place)) as store:
        return store.events(store.run_ids()[0])


def under_name(events: Sequence[Event], run_id: str) -> Sequence[Event]:
    return [events[0].model_copy(update={"run_id": run_id}), *events[1:]]


def test_points_that_were_left_out_are_told_everywhere(
    ohmwright: Callable, measured: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "400")
    monkeypatch.chdir(tmp_path)
    events = events_of(measured)
    first = next(event for event in events if isinstance(event, PointDone))
    other = tmp_path / "other"
    with open_records(str(other)) as store:
        kept = [event for event in events if event is not first]
        store.append_all("cut", under_name(kept, "cut"))
    said = "1 of the 2 points as found have no result"
    verified = ohmwright("record", "verify", "--records", other)
    assert (verified.code, said in verified.out) == (6, True)
    assert said in ohmwright("record", "show", "--records", other).out
    paper = ohmwright("certificate", "last", "--html", "c.html", "--records", other)
    assert (paper.code, said in paper.err) == (6, True)


def test_values_that_are_not_computed_are_named(
    ohmwright: Callable, measured: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "400")
    events = events_of(measured)
    older = [
        e.model_copy(update={"software": "x 1"}) if i == 0 else e for i, e in enumerate(events)
    ]
    other = tmp_path / "other"
    with open_records(str(other)) as store:
        store.append_all("older", under_name(older, "older"))
    verified = ohmwright("record", "verify", "--records", other)
    assert verified.code == 0
    (line,) = (one for one in verified.out.splitlines() if one.startswith("Not computed"))
    assert line == (
        "Not computed once more, by another version, x 1: "
        "older: as found, cut, 100 ohm; older: as found, cut, 500 ohm."
    )
    unlike = "but not those of cut (by another version, x 1): they rest on the word of the record"
    for place, said in ((other, True), (measured, False)):
        paper = tmp_path / f"{place.name}.html"
        assert ohmwright("certificate", "last", "--html", paper, "--records", place).code == 0
        assert (unlike in paper.read_text("utf-8")) is said


def test_that_the_register_is_not_checked_is_said(ohmwright: Callable, measured: Path) -> None:
    before = ohmwright("record", "verify", "--records", measured).out
    unit = ("--maker", "Tallowmere", "--model", "Quillon 300", "--serial", "S000007")
    assert ohmwright("asset", "add", "HF-201", *unit, "--records", measured).code == 0
    after = ohmwright("record", "verify", "--records", measured).out
    line = "Not checked, without hashes: the register of 1 unit."
    assert (line in before.splitlines(), line in after.splitlines()) == (False, True)


def test_the_hint_to_trust_a_key_names_the_records(
    ohmwright: Callable, measured: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "400")
    for name in ("DATA", "CONFIG", "STATE"):
        monkeypatch.setenv(f"XDG_{name}_HOME", str(tmp_path / "elsewhere" / name))
    verified = ohmwright("record", "verify", "--records", measured)
    assert f"keys trust FINGERPRINT --name OWNER --records {measured}" in verified.out


def test_a_correction_to_the_serial_number_of_another_unit_is_told(
    ohmwright: Callable, measured: Path
) -> None:
    events = events_of(measured)
    begun = events[0]
    unit = begun.asset.model_copy(update={"id": "HF-X", "serial": "S-9"})  # type: ignore[union-attr]
    told = {"asset": unit, "run_id": "of-another", "registered": None}
    with open_records(str(measured)) as store:
        store.append_all("of-another", [begun.model_copy(update=told), *events[1:]])
        own = store.run_ids()[0]

    def amend(serial: str) -> str:
        words = ("--correct", f"serial={serial}", "--reason", "typed wrongly")
        amended = ohmwright("record", "amend", own, *words, "--records", measured)
        assert amended.code == 0
        return " ".join(amended.err.split())

    assert ohmwright("record", "approve", own, "--records", measured).code == 0
    assert "S-9 is the serial number of HF-X in these records" in amend("S-9")
    assert "is the serial number of" not in amend("S-10")


def test_a_store_that_this_computer_never_saw_may_have_lost_its_end(
    ohmwright: Callable, measured: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A copy without its last entry is whole in itself, and only its newest hash tells."""
    monkeypatch.setenv("COLUMNS", "400")
    never = "This computer never saw these records before: it cannot tell whether runs or voids"

    def last_lines() -> list[str]:
        verified = ohmwright("record", "verify", "--records", measured, "--trusted", trusted)
        assert verified.code == 0
        return str(verified.out).splitlines()[-2:]

    key = ohmwright("record", "keys", "list", "--records", measured, "--json").json["own"]["key"]
    trusted = tmp_path / "trusted"
    trusted.write_text(f"trust {key} A. Fenn\n")
    assert ohmwright("record", "void", "last", "--reason", "x", "--records", measured).code == 0
    entry, known = last_lines()
    noted = entry.removeprefix("Newest entry of these records: 3, hash ").removesuffix(".")
    assert (len(noted), never in known) == (12, False)
    at_hand = ("record", "verify", "--records", measured, "--trusted", trusted, "--head", noted)
    assert ohmwright(*at_hand).code == 0
    for name in ("DATA", "CONFIG", "STATE"):
        monkeypatch.setenv(f"XDG_{name}_HOME", str(tmp_path / "elsewhere" / name))
    cut_off_the_last_entry(measured)
    assert ohmwright("record", "rebuild", "--records", measured).code == 0
    entry, first = last_lines()
    assert (noted in entry, never in first) == (False, True)
    assert ohmwright(*at_hand).code == 6
    assert never not in last_lines()[1]
