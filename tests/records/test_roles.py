"""In a shared PostgreSQL a bench adds and changes nothing, and who reads only reads."""

from collections.abc import Callable, Iterator
from contextlib import closing

import psycopg
import pytest

from ohmwright.model.errors import RecordError
from ohmwright.records.audit import audit
from ohmwright.records.roles import BENCH, READER, ROLES_SQL
from ohmwright.records.run_lists import runs
from ohmwright.records.sql_store import SqlStore
from scripts.faults.local_postgresql import Server

from .some_events import started, whole_run

LOGINS = {"bench2": BENCH, "office": READER}


@pytest.fixture
def shared(server: Server, opened: Callable[..., SqlStore]) -> Iterator[str]:
    """A store whose owner has made the roles; the URL without a user."""
    url = server.url()
    owner = opened(url)
    owner.append_all("first", whole_run("first"))
    with closing(psycopg.connect(url, autocommit=True)) as connection:
        for _ in range(2):  # may be run again
            connection.execute(ROLES_SQL)  # type: ignore[call-overload]
        for name, role in LOGINS.items():
            connection.execute(f"CREATE ROLE {name} LOGIN; GRANT {role} TO {name}")  # type: ignore[call-overload]
    yield url.replace("//ohm@", "//{}@")
    owner.close()
    with closing(psycopg.connect(url, autocommit=True)) as connection:
        for name in (*LOGINS, *LOGINS.values()):
            connection.execute(f"DROP OWNED BY {name}; DROP ROLE {name}")  # type: ignore[call-overload]


def test_a_bench_does_all_of_its_work(shared: str, opened: Callable[..., SqlStore]) -> None:
    bench = opened(shared.format("bench2"), computer="bench")
    for event in whole_run("second"):
        bench.append("second", event)
    bench.append("third", started("third"))
    bench.close()
    again = opened(shared.format("bench2"), computer="bench")
    again.claim("third")
    again.append_all("third", whole_run("third")[1:])
    assert list(audit(again)) == []
    assert [row["verdict"] for row in runs(again.database)] == ["pass"] * 3


@pytest.mark.parametrize("who", LOGINS)
@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE events SET body = hash",
        "DELETE FROM ledger",
        "TRUNCATE runs",
        "UPDATE tallies SET passed = 7",
        "DELETE FROM newest_runs",
        "INSERT INTO store (id) VALUES ('0')",
        "ALTER TABLE events DISABLE TRIGGER ALL",
        "DROP TRIGGER events_no_change ON events",
        "CREATE OR REPLACE FUNCTION append_only() RETURNS trigger LANGUAGE sql AS 'SELECT NULL'",
        "UPDATE alembic_version SET version_num = '0001'",
        "SET ROLE ohm",
    ],
)
def test_nobody_else_changes_anything(shared: str, who: str, statement: str) -> None:
    with (
        closing(psycopg.connect(shared.format(who))) as connection,
        pytest.raises(psycopg.errors.InsufficientPrivilege),
    ):
        connection.execute(statement)  # type: ignore[call-overload]


def test_who_only_reads_reads(shared: str, opened: Callable[..., SqlStore]) -> None:
    office = opened(shared.format("office"), computer="office")
    assert list(audit(office)) == []
    with pytest.raises(RecordError, match="may not do that"):
        office.append("new", started("new"))
