"""What holds records is for its owner alone, whatever the umask; what is not is warned of."""

import os
import sqlite3
import stat
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import Connection

from ohmwright.model.errors import RecordError
from ohmwright.records import migrate
from ohmwright.records.audit import audit
from ohmwright.records.sql_store import SqlStore

from .some_events import stage, started, whole_run

pytestmark = pytest.mark.skipif(os.name != "posix", reason="file modes")


@pytest.fixture
def no_umask() -> Iterator[None]:
    before = os.umask(0)
    yield
    os.umask(before)


def test_all_that_is_made_is_for_its_owner_alone(
    no_umask: None, opened: Callable[..., SqlStore], tmp_path: Path
) -> None:
    store = opened(str(tmp_path / "a" / "b"))
    store.append_all("one", whole_run("one"))
    store.append_all("open", (started("open"), stage()))
    made = [path for folder in ("a", "here") for path in (tmp_path / folder).rglob("*")]
    assert {"records.sqlite", "records.sqlite-wal", "operator.key", "keys", "ledger"} <= {
        path.name for path in made
    }
    modes = {path: stat.S_IMODE(path.stat().st_mode) for path in made}
    assert {p: oct(m) for p, m in modes.items() if m != (0o700 if p.is_dir() else 0o600)} == {}
    assert list(audit(store)) == []


@pytest.mark.parametrize(
    ("path", "mode", "says"),
    [
        ("r.sqlite", 0o640, "others can read"),
        ("here/witness", 0o770, "others can read and change"),
        ("here/witness/keys", 0o602, "others can change"),
    ],
)
def test_what_others_can_read_or_change_is_warned_of(
    opened: Callable[..., SqlStore], tmp_path: Path, path: str, mode: int, says: str
) -> None:
    store = opened(str(tmp_path / "r.sqlite"))
    store.append_all("one", whole_run("one"))
    (tmp_path / path).chmod(mode)
    (warning,) = audit(store)
    assert (warning.kind, warning.what.startswith(f"{says} {tmp_path / path};")) == (
        "warning",
        True,
    )


def test_a_disk_that_is_full_at_the_first_write_leaves_no_file(
    opened: Callable[..., SqlStore], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(connection: Connection) -> None:
        place = Path(connection.engine.url.database or "")
        for end in ("-wal", "-shm"):  # as SQLite leaves them where it cannot write
            place.with_name(f"{place.name}{end}").touch()
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr(migrate, "run_migrations", full)
    with pytest.raises(RecordError, match="full"):
        opened(str(tmp_path / "store"))
    assert list((tmp_path / "store").iterdir()) == []
