"""Times that run backwards are named, and no more than that."""

from datetime import timedelta

import pytest

from ohmwright.model.event import Event, RunResumed
from ohmwright.records.audit import audit
from ohmwright.records.sql_store import SqlStore

from .some_events import AT, finished, point, stage, started, whole_run


def at(event: Event, seconds: float) -> Event:
    return event.model_copy(update={"at": AT + timedelta(seconds=seconds)})


def found(store: SqlStore) -> list[tuple[str, str, int | None]]:
    return [(one.kind, one.run, one.event) for one in audit(store)]


def test_a_run_dated_before_its_predecessor_is_named(store: SqlStore) -> None:
    store.append_all("first", whole_run("first"))
    store.append_all("simulated", [at(started("simulated", seed=1), -9e6)])
    store.append_all("second", [at(event, -30) for event in whole_run("second")])
    assert found(store) == []
    store.append_all("third", [at(event, -3600) for event in whole_run("third")])
    assert found(store) == [("warning", "third", 1)]
    (warning,) = audit(store)
    assert "2026-01-05 07:00 UTC" in warning.what
    assert "run second of 2026-01-05 07:59 UTC" in warning.what


@pytest.mark.parametrize(("back_s", "says"), [(0.5, []), (600.0, [("warning", "run", 3)])])
def test_an_event_that_goes_back_in_time_is_named(
    store: SqlStore, back_s: float, says: list[object]
) -> None:
    events = [started("run"), at(stage(), 1000), at(point(), 1000 - back_s), at(finished(), 1001)]
    store.append_all("run", events)
    assert found(store) == says


def test_so_is_one_whose_bench_time_goes_back(store: SqlStore) -> None:
    store.append_all("run", [started("run"), stage(50.0), point(), finished()])
    assert found(store) == [("warning", "run", 3)]


@pytest.mark.parametrize(("seed", "says"), [(1, []), (None, [("warning", "run", 3)])])
def test_a_simulated_clock_begins_anew_with_each_sitting(
    store: SqlStore, seed: int | None, says: list[object]
) -> None:
    resumed = RunResumed(at=AT, bench_s=0.0, operator="Áda", done=0)
    store.append_all("run", [started("run", seed=seed), at(stage(90.0), 90), resumed, finished()])
    assert found(store) == says
