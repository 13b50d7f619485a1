"""SQLite answers a fleet's questions by the index made for each, whatever the store's size."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import Select
from sqlalchemy.dialects import sqlite

from ohmwright.records import queries
from ohmwright.records.run_lists import Filter, selected_runs
from ohmwright.records.sql_store import open_store
from ohmwright.records.tables import RUNS

DAY = datetime(2026, 1, 5, tzinfo=UTC)
Query = Select[tuple[object, ...]]


def newest(wanted: Filter) -> Query:
    return selected_runs(wanted).order_by(RUNS.c.number.desc()).limit(100)


def plan(query: Query, folder: Path) -> str:
    sql = query.compile(dialect=sqlite.dialect(), compile_kwargs={"literal_binds": True})
    store = open_store(str(folder / "records"), folder / "operator.key", folder / "witness")
    with store, store.database.read() as connection:
        steps = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {sql}").mappings().all()
    return "\n".join(step["detail"] for step in steps)


@pytest.mark.parametrize(
    ("query", "searched"),
    [
        (newest(Filter(serial="S1")), "runs USING INDEX runs_by_serial (serial=?)"),
        (newest(Filter(model="Quillon 300")), "runs USING INDEX runs_by_model (model=?)"),
        (
            queries.history("HF-1", "cut", "300 ohm"),
            "results USING INDEX results_by_asset (asset=? AND step=? AND point=?)",
        ),
        (
            queries.population("Quillon 300", "cut", "300 ohm", "as_found", DAY),
            "results USING COVERING INDEX results_by_model "
            "(model=? AND step=? AND point=? AND stage=? AND at>?)",
        ),
        (
            queries.with_verdict("fail", DAY),
            "results USING INDEX results_by_verdict (verdict=? AND at>?)",
        ),
    ],
)
def test_a_question_is_searched_by_its_index_and_not_sorted(
    query: Query, searched: str, tmp_path: Path
) -> None:
    found = plan(query, tmp_path)
    assert f"SEARCH {searched}" in found
    assert "TEMP B-TREE" not in found
