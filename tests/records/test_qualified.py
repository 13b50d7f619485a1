"""What is to be qualified of many runs or units is found, however many queries that takes."""

import pytest

from ohmwright.records import qualified
from ohmwright.records.sql_store import SqlStore

from .some_events import started, uncovered_run


@pytest.mark.parametrize("why", ["none", "not covered"])
def test_none_is_left_out_between_two_queries(
    store: SqlStore, monkeypatch: pytest.MonkeyPatch, why: str
) -> None:
    monkeypatch.setattr(qualified, "_IN_ONE_QUERY", 2)
    names = {f"run-{n}": f"HF-{n}" for n in range(5)}
    for run_id, asset in names.items():
        store.append_all(run_id, [started(run_id, asset), *uncovered_run(why)[1:]])
    runs = qualified.qualified_run_ids(store.database, [*names])
    assert runs.uncovered == {*names}
    units = qualified.qualified_assets(store.database, [*names.values()], simulated=False)
    assert units.uncovered == {*names.values()}
