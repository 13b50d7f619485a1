"""What a store promises, in SQLite and in PostgreSQL alike."""

import multiprocessing
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from functools import partial
from pathlib import Path

import pytest
from sqlalchemy import Connection, text

from ohmwright.model.errors import RecordError, UsageError
from ohmwright.records.audit import audit, has_head
from ohmwright.records.database import Database
from ohmwright.records.lease import LEASE_S
from ohmwright.records.queries import fetch_rows, history, population, results, with_verdict
from ohmwright.records.run_lists import Filter, count_runs, runs
from ohmwright.records.signed_contents import signatures
from ohmwright.records.sql_store import SqlStore, open_store

from .some_events import AT, finished, point, stage, started, whole_run


def kept(store: SqlStore, run_id: str, asset: str = "HF-1") -> None:
    for event in whole_run(run_id, asset):
        store.append(run_id, event)


def test_events_come_back_as_they_were(store: SqlStore) -> None:
    kept(store, "run")
    assert store.events("run") == whole_run("run")
    assert store.run_ids() == ("run",)
    assert list(audit(store)) == []


def test_a_store_opened_again_goes_on_with_the_chain(
    place: str, opened: Callable[..., SqlStore]
) -> None:
    first = opened(place)
    first.append("run", started("run"))
    head = first.head("run")
    first.close()
    second = opened(place)
    assert second.head("run") == head
    for event in whole_run("run")[1:]:
        second.append("run", event)
    assert second.events("run") == whole_run("run")
    assert list(audit(second)) == []


def test_a_finished_run_is_sealed_by_its_operator_and_takes_no_more(store: SqlStore) -> None:
    kept(store, "run")
    (seal,) = signatures(store.database)
    assert seal.is_valid()
    assert (seal.statement.operator, seal.statement.events) == ("Áda", 5)
    assert seal.statement.head == store.head("run")
    assert seal.statement.key == store.key.public
    assert not seal.model_copy(
        update={"statement": seal.statement.model_copy(update={"operator": "Eve"})}
    ).is_valid()
    with pytest.raises(UsageError, match="finished and sealed"):
        store.append("run", stage())


def test_many_events_at_once_are_all_or_none(store: SqlStore) -> None:
    store.append_all("run", whole_run("run")[:4])
    with pytest.raises(AttributeError):
        store.append_all("run", (stage(), None))
    store.append_all("run", (finished(),))
    assert store.events("run") == whole_run("run")
    assert list(audit(store)) == []


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE events SET body = hash",
        "DELETE FROM events WHERE number = 5",
        "DELETE FROM runs",
        "UPDATE results SET value = 80",
        "UPDATE ledger SET verdict = 'pass'",
        "DELETE FROM store",
    ],
)
def test_the_database_itself_refuses_changes(store: SqlStore, change: str) -> None:
    kept(store, "run")
    with pytest.raises(RecordError, match="cannot be changed"), store.database.write() as c:
        c.execute(text(change))
    assert list(audit(store)) == []


def test_replacing_and_emptying_are_changes_too(store: SqlStore) -> None:
    kept(store, "run")
    trick = "TRUNCATE events"
    if store.database.is_sqlite:
        trick = "INSERT OR REPLACE INTO events SELECT run, number, hash, hash FROM events"
    with pytest.raises(RecordError, match="append-only"), store.database.write() as c:
        c.execute(text(trick))


def _held_elsewhere(place: str, folder: Path, ready: object, done: object) -> None:
    from ohmwright.records.sql_store import open_store

    store = open_store(place, folder / "other.key", folder / "other")
    store.claim("run")
    ready.set()
    done.wait()
    os._exit(0)  # without giving the lease back


def test_two_benches_cannot_take_one_run_until_the_first_is_gone(
    place: str, opened: Callable[..., SqlStore], tmp_path: Path
) -> None:
    store = opened(place)
    store.append("run", started("run"))
    store.close()
    method = multiprocessing.get_context("spawn")
    ready, done = method.Event(), method.Event()
    other = method.Process(target=_held_elsewhere, args=(place, tmp_path, ready, done))
    other.start()
    assert ready.wait(20)
    second = opened(place)
    with pytest.raises(UsageError, match=f"in the hands of .* process {other.pid}") as caught:
        second.claim("run")
    assert caught.value.exit_code == 2
    with pytest.raises(UsageError, match="in the hands of"):
        second.append("run", stage())
    done.set()
    other.join()
    second.claim("run")
    second.append("run", stage())
    assert len(second.events("run")) == 2


def _write_runs(place: str, folder: Path, name: str) -> None:
    with open_store(place, folder / "operator.key", folder / "witness") as store:
        for number in range(3):
            kept(store, f"{name}-{number}")


def test_benches_that_begin_at_once_share_one_ledger(
    place: str, opened: Callable[..., SqlStore], tmp_path: Path
) -> None:
    with ThreadPoolExecutor(3) as benches:
        list(benches.map(partial(_write_runs, place, tmp_path / "here"), "abc"))
    store = opened(place)
    assert len(store.run_ids()) == 9
    assert list(audit(store)) == []


def test_the_hold_of_another_computer_ends_with_time(
    store: SqlStore, opened: Callable[..., SqlStore], place: str
) -> None:
    store.append("run", started("run"))
    with store.database.write() as c:
        c.execute(text("UPDATE leases SET host = 'other-bench', holder = 'Eve on other-bench'"))
    second = opened(place)
    with pytest.raises(UsageError, match=r"Eve on other-bench.*its hold ends in 15 min"):
        second.claim("run")
    with store.database.write() as c:
        c.execute(text("UPDATE leases SET until_s = until_s - :s"), {"s": LEASE_S + 1})
    second.claim("run")
    second.append("run", stage())
    end = store._ends["run"]
    with pytest.raises(RecordError, match="another program has written to the same run"):
        store.append("run", stage())
    second.close()  # gives the hold back; what it wrote stays
    store._ends["run"] = end._replace(renew_at_s=0.0)
    with pytest.raises(RecordError, match="It was taken over"):
        store.append("run", stage())
    assert list(audit(store)) == []


def test_writing_renews_the_hold_and_a_lost_one_stops_the_run(store: SqlStore) -> None:
    def left_s(change: str) -> float:
        with store.database.write() as c:
            c.execute(text(f"UPDATE leases SET {change}"))
        store._ends["run"] = store._ends["run"]._replace(renew_at_s=0.0)  # some minutes later
        before = _held_until(store)
        store.append("run", stage())
        return _held_until(store) - before

    store.append("run", started("run"))
    assert left_s("until_s = until_s - 600") == pytest.approx(600, abs=30)
    with pytest.raises(UsageError, match="in the hands of Eve"):
        left_s("host = 'other-bench', holder = 'Eve'")
    assert len(store.events("run")) == 2


def _held_until(store: SqlStore) -> float:
    with store.database.read() as c:
        return float(c.execute(text("SELECT until_s FROM leases")).scalar_one())


def test_lists_and_queries(store: SqlStore) -> None:
    kept(store, "a", "HF-1")
    store.append_all(
        "b", (started("b", "HF-2"), point(verdict="fail", value=70.0), finished("fail"))
    )
    store.append("c", started("c", "HF-2", seed=1))

    def ids(**wanted: object) -> list[str]:
        return [row["run_id"] for row in runs(store.database, Filter(**wanted))]

    assert ids() == ["a", "b", "c"]
    assert ids(asset="HF-2") == ["b", "c"]
    assert ids(verdict="fail") == ["b"]
    assert ids(verdict="unfinished") == ["c"]
    assert ids(model="Model ä 'x'") == ["a", "b", "c"]
    assert ids(since=AT + timedelta(days=1)) == []
    assert ids(until=AT) == []
    assert ids(until=AT + timedelta(days=1)) == ["a", "b", "c"]
    assert ids(search="hf-2") == ["b", "c"]
    assert ids(search="F-2 áda Ä") == ["b", "c"]
    assert ids(search="%") == ids(serial="F-2") == ids(operator="Nobody") == []
    (of_serial,) = {row["serial"] for row in runs(store.database)}
    (by,) = {row["operator"] for row in runs(store.database)}
    assert ids(serial=of_serial, operator=by) == ["a", "b", "c"]
    assert [row["run_id"] for row in runs(store.database, newest=2)] == ["b", "c"]
    assert count_runs(store.database, Filter(asset="HF-2")) == 2
    (one,) = fetch_rows(store.database, history("HF-2", "cut", "100 ohm"))
    assert (one.value, one.uncertainty, one.quantity) == (70.0, 0.1, "power_w")
    of_point = ("Model ä 'x'", "cut", "100 ohm", "as_left")
    everywhere = fetch_rows(store.database, population(*of_point))
    assert sorted(row.asset for row in everywhere) == ["HF-1", "HF-2"]
    assert len(fetch_rows(store.database, with_verdict("fail", AT))) == 1
    assert [row["run_id"] for row in results(store.database)] == ["a", "a", "b"]
    assert [row["simulated"] for row in runs(store.database)] == [0, 0, 1]


def test_a_head_on_paper_is_found_or_missed(store: SqlStore) -> None:
    kept(store, "run")
    assert has_head(store, store.head("run"))
    assert not has_head(store, "00" * 32)
    assert not has_head(store, "no hash")


def test_an_unknown_run(store: SqlStore) -> None:
    with pytest.raises(UsageError, match="There is no run 'x'"):
        store.events("x")
    with pytest.raises(UsageError, match="There is no run 'x'"):
        store.claim("x")


def test_a_units_tag_in_place_of_a_run_is_told_where_its_runs_are(store: SqlStore) -> None:
    store.append_all("run", whole_run("run", "HF-7"))
    with pytest.raises(UsageError, match=r"HF-7 is a unit\. .*record list --asset HF-7'"):
        store.events("hf-7")


def test_what_a_killed_start_left_is_removed(
    tmp_path: Path, opened: Callable[..., SqlStore]
) -> None:
    path = tmp_path / "records.sqlite"
    opened(str(path)).close()
    left = [tmp_path / f"records.0a1b2c3d.new.sqlite{end}" for end in ("", "-wal", "-shm")]
    kept = [tmp_path / "records.9e8f7a6b.new.sqlite", tmp_path / "records.mine.sqlite"]
    for draft in (*left, *kept):
        draft.write_bytes(b"")
    hours_ago = path.stat().st_mtime - 7200
    for old in (*left, kept[1]):
        os.utime(old, (hours_ago, hours_ago))
    opened(str(path)).close()
    assert not any(draft.exists() for draft in left)
    assert all(draft.exists() for draft in kept)


@pytest.mark.skipif(os.name != "posix", reason="no limit on the size of files")
def test_a_disk_that_gets_full_while_a_store_is_made_leaves_no_part_of_it(
    tmp_path: Path, opened: Callable[..., SqlStore], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The log had room and the file itself has not: that is found when the log is folded in."""
    import resource

    path, commit = tmp_path / "records.sqlite", Database.commit
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)

    def full_after_commit(database: Database, connection: Connection) -> None:
        commit(database, connection)
        resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, hard))

    with monkeypatch.context() as full:
        full.setattr(Database, "commit", full_after_commit)
        try:
            with pytest.raises(RecordError, match="full"):
                opened(str(path))
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert list(tmp_path.iterdir()) == []
    kept(opened(str(path)), "run")


def test_a_store_of_a_newer_program_is_left_alone(
    place: str, opened: Callable[..., SqlStore]
) -> None:
    store = opened(place)
    with store.database.write() as c:
        c.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(RecordError, match="version 9999"):
        opened(place)


def test_runs_come_in_the_order_they_were_made_whatever_a_simulated_clock_says(
    store: SqlStore,
) -> None:
    for run_id, hours in (("second on its clock", 2), ("first on its clock", 1)):
        at = AT + timedelta(hours=hours)
        store.append(run_id, started(run_id).model_copy(update={"at": at}))
    in_order = ("second on its clock", "first on its clock")
    assert store.run_ids() == in_order
    assert tuple(row["run_id"] for row in runs(store.database)) == in_order
