"""A store that was altered behind the program's back says where."""

import re
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest
from sqlalchemy import text

from ohmwright.model.errors import RecordError
from ohmwright.records.audit import audit
from ohmwright.records.canonical_json import chain_hash
from ohmwright.records.sql_store import SqlStore
from ohmwright.records.summaries import rebuild_summary_tables

from .some_events import stage, started, whole_run


@pytest.fixture
def altered(place: str, opened: Callable[..., SqlStore]) -> Callable[..., list[str]]:
    """Two finished runs and an open one, changed by statements with all triggers off."""

    def alter(*statements: str) -> list[str]:
        store = opened(place)
        for run in ("one", "two"):
            store.append_all(run, whole_run(run))
        store.append_all("open", (started("open"), stage(), stage(2.0)))
        assert list(audit(store)) == []
        with _triggers_off(store), store.database.write() as connection:
            for statement in statements:
                connection.execute(text(statement))
        return [str(finding) for finding in audit(opened(place))]

    return alter


class _triggers_off:
    def __init__(self, store: SqlStore) -> None:
        self._store = store

    def __enter__(self) -> None:
        with self._store.database.write() as connection:
            if not self._store.database.is_sqlite:
                for table in ("store", "runs", "events", "ledger", "results"):
                    connection.execute(text(f"ALTER TABLE {table} DISABLE TRIGGER USER"))
                return
            query = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
            self._made = connection.execute(text(query)).all()
            for name, _ in self._made:
                connection.execute(text(f"DROP TRIGGER {name}"))

    def __exit__(self, *_: object) -> None:
        with self._store.database.write() as connection:
            if not self._store.database.is_sqlite:
                for table in ("store", "runs", "events", "ledger", "results"):
                    connection.execute(text(f"ALTER TABLE {table} ENABLE TRIGGER USER"))
                return
            for _, sql in self._made:
                connection.exec_driver_sql(sql)


@pytest.mark.parametrize(
    ("statement", "says"),
    [
        (
            "UPDATE events SET body = (SELECT body FROM events WHERE run = 1 AND number = 3) "
            "WHERE run = 1 AND number = 4",
            r"^run one, event 4: the event does not fit its hash",
        ),
        ("DELETE FROM events WHERE run = 2 AND number = 3", r"^run two, event 3: .* missing"),
        ("DELETE FROM events WHERE run = 1 AND number = 5", r"^run one, event 5: 5 events were"),
        ("DELETE FROM events WHERE run = 3 AND number = 3", r"^run open, event 3: .* has seen"),
        (
            "UPDATE events SET number = CASE number WHEN 3 THEN 40 ELSE 30 END "
            "WHERE run = 1 AND number IN (3, 4)",
            r"^run one, event 3: the event is missing",
        ),
        (
            "UPDATE store SET id = replace(id, substr(id, 1, 8), '01234567')",
            r"^run one: entry 1 of the ledger was written under another name of the store",
        ),
        ("UPDATE results SET value = 80.0 WHERE run = 1", r"^run one, event 3: .*table of results"),
        ("DELETE FROM results WHERE run = 2 AND event = 4", r"^run two, event 4: .*table of res"),
        (
            "UPDATE runs SET operator = 'Eve' WHERE number = 2",
            r"^run two, event 1: .*table of runs",
        ),
        ("UPDATE runs SET run_id = 'new' WHERE number = 2", r"^run new: its opening names another"),
        (
            "UPDATE ledger SET verdict = 'fail' WHERE verdict = 'pass'",
            r"^run one, event 5: .*verdict",
        ),
        ("UPDATE ledger SET verdict = 'pass' WHERE number = 1", r"^run one, event 5: .*verdict"),
        ("DELETE FROM ledger WHERE number = 3", r"^run two: entry 3 of the ledger is missing"),
        ("UPDATE ledger SET hash = document WHERE number = 2", r"^run one: entry 2 of the ledger"),
        (
            "UPDATE ledger SET run = 1 WHERE number = 3",
            r"entry 3 of the ledger is missing, altered",
        ),
        ("DELETE FROM runs WHERE number = 1", r"^store: the table of events has rows of run 1"),
        (
            "DELETE FROM ledger WHERE run > 1; DELETE FROM runs WHERE number > 1; "
            "DELETE FROM events WHERE run > 1; DELETE FROM results WHERE run > 1",
            r"^store: entry 5 of the ledger, which .* has seen, is missing",
        ),
    ],
)
def test_every_change_is_named(altered: Callable, statement: str, says: str) -> None:
    findings = altered(*statement.split("; "))
    assert any(re.search(says, finding) for finding in findings), findings


def test_a_forged_chain_lacks_the_signature(place: str, opened: Callable) -> None:
    """Everything hashed anew after a change, as one would who knows how: the seal tells."""
    store = opened(place)
    store.append_all("one", whole_run("one"))
    kept = store.stored_run("one")
    head, statements = None, []
    for event in kept.events:
        body = event.body.replace(b"81.5", b"80.1")
        head = (
            chain_hash(head or store.stored_run("one").events[0].hash, body) if head else event.hash
        )
        if event.number > 1:
            statements.append((body.hex(), head.hex(), event.number))
    blob = "x'{}'" if store.database.is_sqlite else r"'\x{}'"
    changes = [
        f"UPDATE events SET body = {blob.format(body)}, hash = {blob.format(new)} "
        f"WHERE run = 1 AND number = {number}"
        for body, new, number in statements
    ]
    with _triggers_off(store), store.database.write() as connection:
        for change in changes:
            connection.exec_driver_sql(change)
    seen, finding = [str(one) for one in audit(store)]
    assert "has seen it end with another hash" in seen
    assert finding == "run one, event 5: its last hash is not the one that was signed"
    with pytest.raises(RecordError, match="do not use this run as evidence"):
        store.events("one")


def test_an_older_copy_is_named_and_not_written_to(
    tmp_path: Path, opened: Callable[..., SqlStore]
) -> None:
    place = str(tmp_path / "records")
    store = opened(place)
    store.append_all("one", whole_run("one"))
    store.append("open", started("open"))
    store.close()
    older = (tmp_path / "records" / "records.sqlite").read_bytes()
    store = opened(place)
    store.append("open", stage())
    store.append_all("two", whole_run("two"))
    store.close()
    (tmp_path / "records" / "records.sqlite").write_bytes(older)
    store = opened(place)
    findings = [str(finding) for finding in audit(store)]
    assert any("older than what this computer has seen" in finding for finding in findings)
    assert any(finding.startswith("run open, event 2:") for finding in findings)
    with pytest.raises(RecordError, match="has seen"):
        store.append("three", started("three"))
    elsewhere = opened(place, computer="elsewhere")  # who remembers nothing cannot tell
    assert list(audit(elsewhere)) == []


def test_a_trigger_taken_away_is_named(tmp_path: Path, opened: Callable[..., SqlStore]) -> None:
    store = opened(str(tmp_path / "r.sqlite"))
    with sqlite3.connect(tmp_path / "r.sqlite") as connection:
        connection.execute("DROP TRIGGER events_no_update")
    connection.close()
    (finding,) = audit(store)
    assert "'events_no_update' is not as it was made" in str(finding)


def test_many_triggers_taken_away_are_one_line(
    tmp_path: Path, opened: Callable[..., SqlStore]
) -> None:
    """What was altered through their lack is named below, and is to be seen."""
    store = opened(str(tmp_path / "r.sqlite"))
    with sqlite3.connect(tmp_path / "r.sqlite") as connection:
        for name in ("events_no_update", "runs_no_delete"):
            connection.execute(f"DROP TRIGGER {name}")
    connection.close()
    (finding,) = audit(store)
    assert "'events_no_update', 'runs_no_delete' are not as they were made" in str(finding)


def test_a_file_that_is_no_store_is_refused(
    tmp_path: Path, opened: Callable[..., SqlStore]
) -> None:
    (tmp_path / "r.sqlite").write_bytes(b"notes" * 1000)
    with pytest.raises(RecordError, match="no record of ohmwright"):
        opened(str(tmp_path / "r.sqlite"))


def test_a_file_that_lost_its_tables_is_not_begun_anew(
    tmp_path: Path, opened: Callable[..., SqlStore]
) -> None:
    place = tmp_path / "r.sqlite"
    opened(str(place)).close()
    assert [path.name for path in tmp_path.glob("r.*")] == ["r.sqlite"]
    place.write_bytes(b"")
    with pytest.raises(RecordError, match="holds no tables"):
        opened(str(place))
    place.rename(tmp_path / "r.sqlite-wal")
    with pytest.raises(RecordError, match="its log is still there"):
        opened(str(place))


def test_a_witness_file_that_makes_no_sense_is_named(
    tmp_path: Path, opened: Callable[..., SqlStore]
) -> None:
    store = opened(str(tmp_path / "r.sqlite"))
    store.append("run", started("run"))
    (store.witness.folder / "ledger").write_text("x")
    (finding,) = audit(store)
    assert "witness file makes no sense" in str(finding)


def test_a_file_moved_away_in_mid_run_is_told_and_the_run_resumes(
    tmp_path: Path, opened: Callable[..., SqlStore]
) -> None:
    place, away = tmp_path / "r.sqlite", tmp_path / "away.sqlite"
    store = opened(str(place))
    events = whole_run("run")
    store.append("run", events[0])
    place.rename(away)
    for _ in range(2):
        with pytest.raises(RecordError, match="moved, removed or replaced"):
            store.append("run", events[1])
    away.rename(place)
    for event in events[1:]:
        store.append("run", event)
    assert store.events("run") == events
    assert list(audit(store)) == []


def test_two_finished_runs_that_changed_places_are_found(
    altered: Callable[..., list[str]], opened: Callable[..., SqlStore], place: str
) -> None:
    """Everything that names a run by its number is exchanged, and the summaries made anew."""
    swaps = [
        f"UPDATE {table} SET {column} = CASE {column} WHEN {old} THEN {new} ELSE {column} END"
        for table, column in (
            ("runs", "number"),
            ("events", "run"),
            ("results", "run"),
            ("ledger", "run"),
        )
        for old, new in ((1, 9), (2, 1), (9, 2))
    ]
    altered(*swaps)
    store = opened(place)
    with store.database.write() as connection:
        rebuild_summary_tables(connection)
    assert [str(finding) for finding in audit(store)] == [
        "run two: it is run number 1 of the store, and the ledger has it after run one, number 2"
    ]
