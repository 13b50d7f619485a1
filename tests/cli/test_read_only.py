"""A store that may only be read is read, and stays as it is."""

import shutil
import sqlite3
import sys
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from alembic import command
from alembic.config import Config
from sqlalchemy import create_engine

from ohmwright.model.shipped import shipped
from ohmwright.records.migrate import NEWEST_VERSION

from .modes import obeyed

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="file modes of Linux")
DEMO_BENCH = shipped("benches", "demo.toml")


@contextmanager
def read_only(folder: Path, folder_too: bool) -> Iterator[None]:
    """The file, or all of the folder, cannot be written to; nothing in it changes."""
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    paths = [*folder.iterdir(), *([folder] if folder_too else [])]
    modes = {path: path.stat().st_mode for path in paths}
    for path in paths:
        path.chmod(0o500 if path.is_dir() else 0o400)
    try:
        with obeyed():
            yield
    finally:
        for path, mode in modes.items():
            path.chmod(mode)
    now = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert {name: content for name, content in now.items() if name in before} == before
    if folder_too:
        assert now.keys() == before.keys()


@pytest.fixture
def records(ohmwright: Callable, procedure: Path, tmp_path: Path) -> Path:
    place = tmp_path / "records"
    ohmwright("verify", procedure, "--bench", DEMO_BENCH, "--records", place, "--unattended")
    return place


def with_log(records: Path) -> None:
    """As a program leaves a store that is killed: the newest is in the log alone."""
    kept = records.parent / "kept"
    connection = sqlite3.connect(records / "records.sqlite", isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("INSERT INTO leases VALUES (1, 'host', 1, 'holder', 0.0)")
    shutil.copytree(records, kept, ignore=shutil.ignore_patterns("*-shm"))
    connection.close()
    shutil.rmtree(records)
    kept.rename(records)
    assert (records / "records.sqlite-wal").stat().st_size > 0


def works(ohmwright: Callable, records: Path, out: Path) -> None:
    out.mkdir()
    here = ("--records", records)
    (listed,) = ohmwright("record", "list", *here, "--json").json
    assert listed["verdict"] == "fail"
    assert ohmwright("record", "show", *here).code == 1
    verified = ohmwright("record", "verify", *here)
    assert (verified.code, "signature holds" in verified.out) == (0, True), verified
    assert ohmwright("record", "fleet", *here).code == 0
    assert ohmwright("record", "export", out / "r.jsonl", *here).code == 0
    assert ohmwright("certificate", *here, "--all", out / "papers").code == 0


@pytest.mark.parametrize("folder_too", [False, True])
@pytest.mark.parametrize("logged", [False, True])
def test_it_is_listed_shown_verified_exported_and_certified(
    ohmwright: Callable, records: Path, tmp_path: Path, folder_too: bool, logged: bool
) -> None:
    if logged:
        with_log(records)
    with read_only(records, folder_too):
        works(ohmwright, records, tmp_path / "out")


def test_its_newest_events_are_not_left_out(
    ohmwright: Callable, records: Path, procedure: Path, tmp_path: Path
) -> None:
    """What is in the log alone is there, too."""
    keep = sqlite3.connect(records / "records.sqlite")  # so that the log is not written back
    keep.execute("SELECT count(*) FROM runs").fetchone()
    ohmwright("verify", procedure, "--bench", DEMO_BENCH, "--records", records, "--unattended")
    copy = tmp_path / "copy"
    shutil.copytree(records, copy, ignore=shutil.ignore_patterns("*-shm"))
    keep.close()
    with read_only(copy, True):
        assert len(ohmwright("record", "list", "--records", copy, "--json").json) == 2


def test_nothing_is_written_to_it(ohmwright: Callable, records: Path, procedure: Path) -> None:
    arguments = ("--bench", DEMO_BENCH, "--records", records, "--unattended")
    with read_only(records, True):
        outcome = ohmwright("verify", procedure, *arguments)
    assert (outcome.code, "may not be written to" in outcome.err) == (6, True)


def older(records: Path) -> None:
    """An empty store as the first version of the tables had it."""
    records.mkdir()
    config = Config()
    config.set_main_option("script_location", "ohmwright.records:migrations")
    config.set_main_option("path_separator", "os")
    engine = create_engine(f"sqlite:///{records / 'records.sqlite'}")
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "0001")
    engine.dispose()
    with closing(sqlite3.connect(records / "records.sqlite")) as connection:
        connection.execute("PRAGMA journal_mode = WAL")


def test_one_with_older_tables_is_read_as_it_is(ohmwright: Callable, tmp_path: Path) -> None:
    older(tmp_path / "old")
    with read_only(tmp_path / "old", True):
        listed = ohmwright("record", "list", "--records", tmp_path / "old")
        assert (listed.code, "No runs" in listed.out) == (0, True)
        verified = ohmwright("record", "verify", "--records", tmp_path / "old")
        assert (verified.code, "it holds no run" in verified.out) == (4, True)


@pytest.mark.parametrize("place", ["old", "new"])
def test_a_dry_run_changes_no_records(ohmwright: Callable, tmp_path: Path, place: str) -> None:
    older(tmp_path / "old")
    file = tmp_path / "old" / "records.sqlite"
    before = file.read_bytes()
    units = tmp_path / "units.csv"
    units.write_text("tag,maker,model,serial\nHF-1,T,Q,1\n")
    sweep = ("sweep", "--bench", DEMO_BENCH, "--mode", "cut", "--settings", "155", "--loads", "500")
    for dry in (sweep, ("asset", "import", units)):
        outcome = ohmwright(*dry, "--dry-run", "--records", tmp_path / place)
        assert (outcome.code, outcome.err) == (0, "")
    assert file.read_bytes() == before
    assert list((tmp_path / "old").iterdir()) == [file]
    assert not (tmp_path / "new").exists()


def test_a_migration_copies_the_store_first_and_says_where(
    ohmwright: Callable, tmp_path: Path
) -> None:
    older(tmp_path / "old")
    outcome = ohmwright("record", "list", "--records", tmp_path / "old")
    copy = tmp_path / "old" / "records.version-0001.sqlite"
    assert (outcome.code, str(copy) in outcome.err) == (0, True)
    for path, version in ((copy, "0001"), (tmp_path / "old" / "records.sqlite", NEWEST_VERSION)):
        with closing(sqlite3.connect(path)) as connection:
            (found,) = connection.execute("SELECT version_num FROM alembic_version").fetchone()
        assert found == version
    assert copy.stat().st_mode & 0o077 == 0
    assert str(copy) not in ohmwright("record", "list", "--records", tmp_path / "old").err
