"""Tables that sum up others hold what the others say, by whatever way a row came in."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from functools import partial
from pathlib import Path
from unittest.mock import patch
from uuid import UUID

import pytest
from alembic import command
from alembic.config import Config
from sqlalchemy import Connection, insert, inspect, select, text

from ohmwright.model.event import Asked, Event, PointDone
from ohmwright.records import migrate
from ohmwright.records.audit import audit
from ohmwright.records.json_lines import read_runs, run_lines
from ohmwright.records.open_database import open_database
from ohmwright.records.queries import (
    RelativeError,
    fetch_rows,
    last_seen,
    pass_rates,
    relative_error,
    trend,
)
from ohmwright.records.run_import import import_run
from ohmwright.records.sql_store import SqlStore, open_store
from ohmwright.records.summaries import rebuild_summary_tables
from ohmwright.records.tables import EVENTS, LEDGER, RESULTS, RUNS

from .some_events import AT, finished, point, stage, started, whole_run

POINT = ("Model ä 'x'", "cut", "100 ohm", "as_left")


def of_value(value: float) -> PointDone:
    return point(value=value)


def later(event: Event, days: int) -> Event:
    bench_s = event.bench_s + timedelta(days=days).total_seconds()
    return event.model_copy(update={"at": AT + timedelta(days=days), "bench_s": bench_s})


def test_months_add_up(store: SqlStore) -> None:
    store.append("a", started("a"))
    for value in (78.0, 82.0, 84.0):
        store.append("a", of_value(value))
    store.append_all("a", [later(of_value(72.0), 40), later(point(verdict="fail"), 40)])
    store.append_all("s", [started("s", seed=1), of_value(80.0)])
    january, february, simulated = fetch_rows(store.database, trend(*POINT))
    assert (january.month, january.results, january.passed) == ("2026-01", 3, 3)
    error = relative_error(january)
    assert error is not None
    assert (error.mean, error.sd) == pytest.approx((5 / 3, 3.8188131))
    assert (february.month, february.results, february.passed) == ("2026-02", 2, 1)
    assert (simulated.simulated, relative_error(simulated)) == (1, RelativeError(0.0, None))
    real, simulated = fetch_rows(store.database, pass_rates())
    assert (real.point, real.results, real.passed, real.measured) == ("100 ohm", 5, 4, 5)
    assert simulated.results == 1
    assert list(audit(store)) == []


@pytest.mark.parametrize("value", [1e308, -1e308, 0.0, 1e-308])
def test_no_value_is_too_large_for_a_sum(store: SqlStore, value: float) -> None:
    store.append_all("a", [started("a"), of_value(value), of_value(value)])
    (month,) = fetch_rows(store.database, trend(*POINT))
    error = relative_error(month)
    assert error is not None
    assert (error.mean, error.sd) == (100.0 if value > 80 else -100.0, 0.0)
    assert list(audit(store)) == []


def test_a_result_without_a_value_counts_and_has_no_error(store: SqlStore) -> None:
    nothing = point(verdict="not measured")
    result = nothing.result.model_copy(update={"measured": None, "target": None})
    store.append_all("a", [started("a"), nothing.model_copy(update={"result": result})])
    (month,) = fetch_rows(store.database, trend(*POINT))
    assert (month.results, month.passed, relative_error(month)) == (1, 0, None)


def test_the_newest_run_of_each_unit(store: SqlStore, tmp_path: Path) -> None:
    def seen() -> dict[tuple[str, int], tuple[str, str | None]]:
        rows = fetch_rows(store.database, last_seen())
        return {(row.asset, row.simulated): (row.run_id, row.verdict) for row in rows}

    store.append_all("a", whole_run("a"))
    assert seen() == {("HF-1", 0): ("a", "pass")}
    store.append("b", started("b"))
    store.append("s", started("s", seed=1))
    store.append_all("c", whole_run("c", "HF-2"))
    store.append("refused before its unit was known", stage(9.0))
    assert set(seen()) == {("HF-1", 0), ("HF-1", 1), ("HF-2", 0)}
    assert seen()["HF-1", 0] == ("b", None)
    store.append("b", finished("fail"))
    assert seen() == {
        ("HF-1", 0): ("b", "fail"),
        ("HF-1", 1): ("s", None),
        ("HF-2", 0): ("c", "pass"),
    }
    with open_store(str(tmp_path / "other"), tmp_path / "key", tmp_path / "witness") as other:
        for name, days in (("older", -9), ("newer", 9)):
            other.append_all(name, [later(e, days) for e in (started(name), point(), finished())])
            lines = [line + b"\n" for line in run_lines(other.stored_run(name))]
            for run, events in read_runs(lines, "file"):
                import_run(store, run, events)
    assert seen()["HF-1", 0] == ("newer", "pass")
    assert list(audit(store)) == []


@pytest.mark.parametrize(
    ("says", "newest"),
    [
        ({"procedure": "Sweep"}, "a"),  # a record that does not say what its work was
        ({"procedure": "Power curve", "work": "sweep"}, "a"),
        ({"procedure": "Sweep", "work": "procedure"}, "other"),
    ],
)
def test_a_sweep_is_not_the_newest_run_of_its_unit(
    store: SqlStore, says: dict[str, str], newest: str
) -> None:
    store.append_all("a", whole_run("a"))
    first = started("other").model_copy(update=says)
    store.append_all("other", [later(first, 5), later(finished("not measured"), 5)])
    assert [row.run_id for row in fetch_rows(store.database, last_seen())] == [newest]
    with store.database.write() as connection:
        rebuild_summary_tables(connection)
    assert [row.run_id for row in fetch_rows(store.database, last_seen())] == [newest]
    assert list(audit(store)) == []


@pytest.mark.parametrize(
    ("damage", "table"),
    [
        ("UPDATE tallies SET passed = passed - 1", "tallies"),
        ("DELETE FROM tallies WHERE point = '500 ohm'", "tallies"),
        ("UPDATE newest_runs SET verdict = 'fail'", "newest_runs"),
    ],
)
def test_a_wrong_summary_is_named_and_made_anew(store: SqlStore, damage: str, table: str) -> None:
    store.append_all("a", whole_run("a"))
    with store.database.write() as connection:
        connection.execute(text(damage))
    (finding,) = audit(store)
    assert f"the table of {table}, which is no evidence, is not what it sums up" in str(finding)
    with store.database.write() as connection:
        rebuild_summary_tables(connection)
    assert list(audit(store)) == []
    store.append_all("b", whole_run("b"))
    assert list(audit(store)) == []


def _write(place: str, folder: Path, name: str) -> None:
    """Batches whose results come in an order of their own, some with the end of a run."""
    with open_store(place, folder / "operator.key", folder / "witness") as store:
        points = [point(f"{ohm} ohm") for ohm in range(12)]
        points = points if name < "c" else points[::-1]
        for number in range(6):
            run = f"{name}-{number}"
            store.append(run, started(run))
            store.append_all(run, points)
            store.append_all(run, [*points, finished()])


def test_benches_at_work_on_the_same_points_do_not_wait_for_each_other_forever(
    place: str, opened: Callable[..., SqlStore], tmp_path: Path
) -> None:
    with ThreadPoolExecutor(4) as benches:
        list(benches.map(partial(_write, place, tmp_path / "here"), "abcd"))
    store = opened(place)
    assert [row.results for row in fetch_rows(store.database, pass_rates())] == [48] * 12
    assert list(audit(store)) == []


def _version_1(connection: Connection, source: SqlStore) -> None:
    """The rows of `source` in tables as the first version made them."""
    config = Config(attributes={"connection": connection})
    config.set_main_option("script_location", "ohmwright.records:migrations")
    config.set_main_option("path_separator", "os")
    with patch("uuid.uuid4", return_value=UUID(source.store_id)):  # the ledger says which store
        command.upgrade(config, "0001")
    with source.database.read() as rows:
        for table in (RUNS, EVENTS, LEDGER, RESULTS):
            columns = [column for column in table.c if column.name != "work"]  # not there yet
            found = rows.execute(select(*columns)).mappings()
            connection.execute(insert(table), [dict(row) for row in found])


@pytest.fixture
def first_version(place: str, opened: Callable[..., SqlStore], tmp_path: Path) -> str:
    """A place with a store as the first version made it: a finished run, a sweep, an open run.

    In one that was worked by hand a question was the first event, so that its rows named no unit.
    """
    source = opened(str(tmp_path / "source"))
    source.append_all("a", whole_run("a"))
    source.append("swept", started("swept").model_copy(update={"procedure": "Sweep"}))
    source.append("open", started("open", "HF-2"))
    source.append("by hand", Asked(at=AT, bench_s=0.0, question="RF off?", answer="0 mA"))
    source.append_all("by hand", whole_run("by hand", "HF-3"))
    database = open_database(place)
    with database.write() as connection:
        _version_1(connection, source)
    database.close()
    for file in tmp_path.glob("records/*"):
        file.chmod(0o600)
    return place


def test_a_store_of_the_first_version_is_brought_up_to_date(
    first_version: str, opened: Callable[..., SqlStore]
) -> None:
    store = opened(first_version)
    assert list(audit(store)) == []
    seen = fetch_rows(store.database, last_seen())
    assert [row.run_id for row in seen] == ["a", "open", "by hand"]
    store.append("open", point())
    assert [row.results for row in fetch_rows(store.database, pass_rates())] == [3, 2]
    assert list(audit(store)) == []


def test_a_migration_that_fails_leaves_the_store_as_it_was(
    first_version: str, opened: Callable[..., SqlStore], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(_: Connection) -> None:
        raise OSError("no power")

    with monkeypatch.context() as patched:
        patched.setattr(migrate, "rebuild_summary_tables", fail)
        with pytest.raises(OSError, match="no power"):
            opened(first_version)
    database = open_database(first_version)
    with database.read() as connection:
        assert migrate._version(connection) == "0001"
        assert not inspect(connection).has_table("tallies")
    database.close()
    assert list(audit(opened(first_version))) == []
