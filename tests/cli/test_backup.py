"""`record backup` and `record restore`: a copy that was checked, and what it lacks is said."""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from ohmwright.api.paths import witness_folder
from ohmwright.cli.open_records import open_records
from tests.records.some_events import whole_run


def kept(place: Path, *names: str) -> None:
    with open_records(str(place)) as store:
        for name in names:
            store.append_all(name, whole_run(name))


def test_a_copy_is_restored_whole(ohmwright: Callable, tmp_path: Path) -> None:
    here, copy = tmp_path / "here", tmp_path / "copies" / "monday.sqlite"
    kept(here, "a", "b")
    made = ohmwright("record", "backup", copy, "--records", here, "--json").json
    assert (made["runs"], made["events"], made["entries"]) == (2, 10, 4)
    assert [path.name for path in copy.parent.iterdir()] == [copy.name]
    assert ohmwright("record", "verify", "--head", made["head"], "--records", copy).code == 0
    copy.chmod(0o400)  # as on a medium that is only read
    there = tmp_path / "there"
    back = ohmwright("record", "restore", copy, "--records", there)
    assert back.code == 0
    assert "2 runs, 10 events, 4 ledger entries; every hash, link" in back.out
    assert made["head"] in back.out
    assert "holds all that this computer has seen" in back.out
    kept(there, "c")  # it goes on
    assert ohmwright("record", "verify", "--records", there).code == 0
    for again in (("backup", copy, "--records", here), ("restore", copy, "--records", there)):
        refused = ohmwright("record", *again)
        assert (refused.code, "Nothing is ever written over" in refused.err) == (2, True)
    assert "ends in .sqlite" in ohmwright("record", "backup", "x.db", "--records", here).err


def test_an_older_copy_is_restored_and_what_is_lost_is_named(
    ohmwright: Callable, tmp_path: Path
) -> None:
    here, copy = tmp_path / "here", tmp_path / "old.sqlite"
    kept(here, "a")
    assert ohmwright("record", "backup", copy, "--records", here).code == 0
    kept(here, "b")
    back = ohmwright("record", "restore", copy, "--records", tmp_path / "there")
    assert (back.code, "Lost since that copy: entry 4 of the ledger" in back.out) == (6, True)
    (folder,) = (path for path in witness_folder().iterdir() if path.is_dir())
    assert f"move {folder} away" in back.out
    folder.rename(tmp_path / "seen")
    kept(tmp_path / "there", "c")


def test_a_damaged_copy_is_not_restored(ohmwright: Callable, tmp_path: Path) -> None:
    here, copy = tmp_path / "here", tmp_path / "copy.sqlite"
    kept(here, "a")
    assert ohmwright("record", "backup", copy, "--records", here).code == 0
    with closing(sqlite3.connect(copy)) as connection, connection:
        connection.execute("DROP TRIGGER results_no_update")
        connection.execute("UPDATE results SET verdict = 'fail'")
    refused = ohmwright("record", "restore", copy, "--records", tmp_path / "there")
    assert (refused.code, "Nothing was restored" in refused.err) == (6, True)
    assert list((tmp_path / "there").iterdir()) == []
    # a store that is damaged is copied all the same, and that is said
    again = ohmwright("record", "backup", tmp_path / "more.sqlite", "--records", copy)
    assert (again.code, "not whole, as named above" in again.out) == (6, True)
    nothing = ohmwright("record", "restore", tmp_path / "no.sqlite", "--records", tmp_path / "x")
    assert nothing.code == 2


@pytest.mark.parametrize("command", ["backup", "restore"])
def test_of_postgresql_its_own_programs_make_copies(ohmwright: Callable, command: str) -> None:
    told = ohmwright("record", command, "x.sqlite", "--records", "postgresql://nobody@host/x")
    assert (told.code, "pg_dump" in told.err) == (2, True)


@pytest.mark.parametrize("damage", ["cut to half", "no record"])
def test_of_a_file_that_cannot_be_read_only_that_is_said(
    ohmwright: Callable, tmp_path: Path, damage: str
) -> None:
    here = tmp_path / "here"
    kept(here, "a", "b", "c")
    file = here / "records.sqlite"
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    whole = file.read_bytes()
    file.write_bytes(whole[: len(whole) // 2] if damage == "cut to half" else b"no record " * 500)
    at = ("--records", here)
    for command in (
        ("record", "list", *at),
        ("worklist", *at),
        ("record", "verify", *at),
        ("record", "restore", file, "--records", tmp_path / "there"),
    ):
        said = ohmwright(*command)
        assert said.code == 6, (command, said)
        assert "nobody knows what of it is lost" in " ".join(said.err.split()), (command, said)
        assert "Nothing that was acknowledged is lost" not in said.err
        assert "ohmwright record restore" in " ".join(said.err.split())
    assert not (tmp_path / "there").exists() or not list((tmp_path / "there").iterdir())
