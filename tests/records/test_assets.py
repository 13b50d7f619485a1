"""The register of assets: history, files, and changes at the same time."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import text

from ohmwright.model.errors import RecordError, SourceError, UsageError
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.records.asset_file import assets_csv, read_asset_rows
from ohmwright.records.asset_import import import_plan
from ohmwright.records.asset_register import AssetChange, AssetRegister, AssetRevision
from ohmwright.records.audit import audit
from ohmwright.records.sql_store import SqlStore


def unit(tag: str = "HF-1", **fields: object) -> RegisteredAsset:
    said = {"tag": tag, "maker": "Tessenhove", "model": "Quillon 300", "serial": "S1"}
    return RegisteredAsset.model_validate(said | fields)


def test_a_change_is_a_revision_and_the_older_ones_stay(store: SqlStore) -> None:
    register = AssetRegister(store.database)
    register.apply([AssetChange("added", unit(), 1), AssetChange("added", unit("A"), 1)], by="Áda")
    register.apply([AssetChange("changed", unit(site="Ward 2"), 2)], by="Fenn", why="moved")
    assert [one.asset.tag for one in register.all()] == ["A", "HF-1"]
    was, now = register.history("HF-1")
    assert (was.asset.site, was.by, now.asset.site, now.by, now.why) == (
        "",
        "Áda",
        "Ward 2",
        "Fenn",
        "moved",
    )
    assert register.get("HF-1") == now
    for statement in ("UPDATE asset_changes SET site = 'x'", "DELETE FROM asset_changes"):
        with pytest.raises(RecordError), store.database.write() as connection:
            connection.execute(text(statement))
    assert list(audit(store)) == []


def test_a_serial_number_in_place_of_a_tag_names_its_unit(store: SqlStore) -> None:
    register = AssetRegister(store.database)
    register.apply([AssetChange("added", unit(serial="SN77"), 1)], by="a")
    with pytest.raises(UsageError, match="It is the serial number of HF-1: give the tag"):
        register.get("sn77")


def test_who_comes_second_overwrites_nothing(store: SqlStore) -> None:
    register = AssetRegister(store.database)
    register.apply([AssetChange("added", unit(), 1)], by="a")
    register.apply([AssetChange("changed", unit(site="there"), 2)], by="b")
    stale = [AssetChange("added", unit("HF-2"), 1), AssetChange("changed", unit(site="here"), 2)]
    with pytest.raises(UsageError, match="changed by somebody else"):
        register.apply(stale, by="c")
    assert [one.asset.site for one in register.all()] == ["there"]


def test_a_file_that_was_exported_changes_nothing(store: SqlStore, tmp_path: Path) -> None:
    register = AssetRegister(store.database)
    units = [unit("=A", site='a "b", c'), unit("'B", owner="-x"), unit("C", owner="2;=1")]
    register.apply([AssetChange("added", one, 1) for one in units], by="a")
    file = tmp_path / "assets.csv"
    text = assets_csv(one.asset for one in register.all())
    assert {"'=A", "'B", "'-x", "2;'=1"} <= set(text.replace("\n", ",").split(","))
    file.write_text(text, encoding="utf-8-sig")
    known = {one.asset.tag: one for one in register.all()}
    plan = import_plan(file, read_asset_rows(file), known)
    assert (plan.changes, plan.unchanged, plan.problems) == ((), 3, ())


def test_a_file_that_is_no_register_by_its_size_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "assets.csv"
    file.write_text(assets_csv([unit()]), encoding="utf-8")
    with file.open("r+b") as opened:
        opened.truncate(50_000_001)
    with pytest.raises(SourceError, match="more than 50,000,000 bytes"):
        read_asset_rows(file)


def test_every_wrong_row_is_named_with_line_and_column(tmp_path: Path) -> None:
    file = tmp_path / "assets.csv"
    file.write_text(
        "tag;maker;model;serial;interval months;state\n"
        "HF-1;T;Q;S1;12;in service\n"
        "HF-2;T;;S2;never;gone\n"
        "\n"
        "HF-1;T;Q;S1;12;in service\n"
        "HF-4;T;Q;S1;12;in service;Ward; 3\n"
        "HF-5;T;Q\n"
        "hf-1;T;Q;S1;many;in service\n"
        "OLD-1;T;Q;S1;12;in service\n"
        f"{'H' * 61};T;Q;S9;12;in service\n",
        encoding="utf-8",
    )
    old = AssetRevision(unit("old-1"), 1, "", "", "", "")
    plan = import_plan(file, read_asset_rows(file), {"old-1": old})
    places = [problem.removeprefix(f"{file}:").split(": ")[0] for problem in plan.problems]
    assert places == ["3:3", "3:5", "3:6", "5:1", "6:7", "7:4", "8:5", "8:1", "9:1", "10:1"]
    assert "8 cells under 6 names" in plan.problems[4]
    assert "as 'HF-1', which differs in capitals alone" in plan.problems[7]
    assert "is in the register as 'old-1'" in plan.problems[8]
    assert "must have at most 60 characters" in plan.problems[9]
    with pytest.raises(SourceError, match="Nothing was imported"):
        plan.refuse_problems()


def test_equal_complaints_are_one_with_their_lines(tmp_path: Path) -> None:
    file = tmp_path / "assets.csv"
    rows = "".join(f"A-{n},T,Q,S{n},gone\n" for n in range(3))
    path = "GH/../052,T,Q,S9,in service\n"
    file.write_text("tag,maker,model,serial,state\n" + rows + path, encoding="utf-8")
    with pytest.raises(SourceError) as caught:
        import_plan(file, read_asset_rows(file), {}).refuse_problems()
    gone, tag = caught.value.happened.splitlines()
    assert gone.startswith(f"{file}:2:5: state: 'gone' ")
    assert gone.endswith("(also in lines 3, 4)")
    assert tag.startswith(f"{file}:5:1: tag: 'GH/../052'")
    assert "holds '..'" in tag


def test_one_serial_number_under_two_tags_is_a_mistake_unless_one_is_withdrawn(
    tmp_path: Path,
) -> None:
    file = tmp_path / "assets.csv"
    file.write_text(
        "tag,maker,model,serial,state\n"
        "HF-1,T,Q,s1,in service\n"
        "HF-2,T,Q,S1,in service\n"
        "HF-3,T,R,S1,in service\n"
        "HF-4,T,Q,S4,in service\n"
        "HF-5,T,Q,S5,in service\n"
        "HF-6,T,Q,S4,withdrawn\n",
        encoding="utf-8",
    )
    four = RegisteredAsset(tag="OLD-4", maker="T", model="Q", serial="S4", state="withdrawn")
    five = RegisteredAsset(tag="OLD-5", maker="T", model="Q", serial="S5")
    known = {one.tag: AssetRevision(one, 1, "", "", "", "") for one in (four, five)}
    plan = import_plan(file, read_asset_rows(file), known)
    assert plan.problems == (
        f"{file}:2:4: serial: 's1' is also that of HF-2, of the same model",
        f"{file}:3:4: serial: 'S1' is also that of HF-1, of the same model",
        f"{file}:6:4: serial: 'S5' is also that of OLD-5, of the same model",
    )
    file.write_text("tag,serial\nOLD-5,S6\nOLD-6,S5\n", encoding="utf-8")
    known["OLD-6"] = AssetRevision(
        five.model_copy(update={"tag": "OLD-6", "serial": "S6"}), 1, "", "", "", ""
    )
    assert import_plan(file, read_asset_rows(file), known).problems == ()  # two that were mixed up


@pytest.mark.parametrize(
    ("held", "said"),
    [
        (b"tag,tag\nA,1\n", r":1: the column 'tag' is there twice"),
        (b"maker,model\nA,1\n", r":1: the column 'tag' is missing"),
        (b"tag,site\nA,Th\xe9atre\n", r":2: it is not UTF-8"),
        (b"", "empty"),
    ],
)
def test_a_file_that_is_no_register_is_refused(tmp_path: Path, held: bytes, said: str) -> None:
    file = tmp_path / "assets.csv"
    file.write_bytes(held)
    with pytest.raises(SourceError, match=said):
        read_asset_rows(file)


def test_a_column_that_there_is_not_hides_no_wrong_row(tmp_path: Path) -> None:
    file = tmp_path / "assets.csv"
    file.write_text("tag,maker,model,serail,serial,state\nHF-1,T,Q,x,S1,gone\n", encoding="utf-8")
    with pytest.raises(SourceError) as caught:
        import_plan(file, read_asset_rows(file), {}).refuse_problems()
    heading, row = caught.value.happened.splitlines()
    assert heading.startswith(f"{file}:1:4: there is no column 'serail' (columns are: tag,")
    assert row.startswith(f"{file}:2:6: state: 'gone' ")


def test_units_that_may_be_one_are_named_row_by_row(tmp_path: Path) -> None:
    file = tmp_path / "assets.csv"
    file.write_text(
        "tag,maker,model,serial\n"
        "HF-2,Tessenhove Ltd,quillon 300,S 1\n"
        "HF-3,T,Quillon 300,S-1\n"
        "HF-4,Tessenhove,Quillon 90,S1\n"
        "HF-1,Tessenhove,Quillon 300,S1\n",
        encoding="utf-8",
    )
    known = {"HF-1": AssetRevision(unit(state="withdrawn"), 1, "", "", "", "")}
    plan = import_plan(file, read_asset_rows(file), known)
    assert plan.problems == ()
    assert plan.warnings == tuple(
        f"{file}:{line}:4: '{serial}' of {tag} is also the serial number of {other}: "
        "is it one unit?"
        for line, serial, tag, other in (
            (2, "S 1", "HF-2", "HF-1, a Tessenhove Quillon 300, which is withdrawn"),
            (2, "S 1", "HF-2", "HF-3, a T Quillon 300"),
            (3, "S-1", "HF-3", "HF-1, a Tessenhove Quillon 300, which is withdrawn"),
            (3, "S-1", "HF-3", "HF-2, a Tessenhove Ltd quillon 300"),
        )
    )


def test_a_column_that_is_missing_leaves_a_unit_as_it_is(store: SqlStore, tmp_path: Path) -> None:
    register = AssetRegister(store.database)
    register.apply([AssetChange("added", unit(site="Ward 2", interval_months=6), 1)], by="a")
    file = tmp_path / "assets.csv"
    file.write_text("tag,owner,interval_months\nHF-1,Trust,\n", encoding="utf-8")
    known = {one.asset.tag: one for one in register.all()}
    (change,) = import_plan(file, read_asset_rows(file), known).changes
    assert change.asset == unit(site="Ward 2", interval_months=6, owner="Trust")
    assert change.revision == 2


def test_the_day_of_the_last_pass_comes_with_a_spreadsheet(store: SqlStore, tmp_path: Path) -> None:
    file = tmp_path / "assets.csv"
    heading = "tag;maker;model;serial;last passed\n"
    rows = "HF-1;T;Q;S1;2026-01-31\nHF-2;T;Q;S2;\nHF-3;T;Q;S3;31.1.2026\n"
    file.write_text(heading + rows, encoding="utf-8")
    register = AssetRegister(store.database)
    register.apply(import_plan(file, read_asset_rows(file), {}).changes, by="Fenn")
    days = [one.asset.last_passed for one in register.all()]
    assert days == ["2026-01-31", "", "2026-01-31"]
    rows = "HF-1;T;Q;S1;1/2/2026\nHF-2;T;Q;S2;2126-01-31\nHF-3;T;Q;S3;01.13.2025\n"
    file.write_text(heading + rows, encoding="utf-8")
    slip, future, none = import_plan(file, read_asset_rows(file), {}).problems
    assert slip == f"{file}:2:5: last_passed: '1/2/2026' is no date; write it as 2026-01-31"
    assert none == f"{file}:4:5: last_passed: '01.13.2025' is no date; write it as 2026-01-31"
    assert future.startswith(f"{file}:3:5: last_passed: '2126-01-31': it lies in the future")


def test_a_day_of_the_last_pass_may_be_tomorrow_where_the_unit_stands_and_no_later() -> None:
    """A due date is counted from it, and one in the future would put the unit's work off."""
    told = unit(last_passed="2026-02-01")
    told.refuse_future(date(2026, 1, 31))
    with pytest.raises(ValueError, match="it lies in the future"):
        told.refuse_future(date(2026, 1, 30))


def test_a_state_may_have_the_capitals_of_a_spreadsheet(store: SqlStore, tmp_path: Path) -> None:
    file = tmp_path / "assets.csv"
    file.write_text("tag,maker,model,serial,state\nHF-1,T,Q,S1,In Repair\n", encoding="utf-8")
    (change,) = import_plan(file, read_asset_rows(file), {}).changes
    assert change.asset.state == "in repair"
