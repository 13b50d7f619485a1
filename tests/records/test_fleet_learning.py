"""What the records of earlier runs teach."""

import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest

from ohmwright.model.event import PointLearned, RunStarted
from ohmwright.records.add_addendum import Wanted, add_addendum
from ohmwright.records.fleet_learning import fleet_priors, priors_from_runs
from ohmwright.records.sql_store import open_store

from . import some_events

AT = {"at": datetime(2026, 1, 5, tzinfo=UTC), "bench_s": 0.0}


def started(model: str, seed: int | None) -> RunStarted:
    return some_events.started("r", seed=seed, model=model)


def learned(point: str, gain: float) -> PointLearned:
    return PointLearned(**AT, point=point, gain_per_count=gain, lag_s=0.8, dead_s=0.5, hunting=0.1)


def test_each_point_of_a_model_has_its_own_prior() -> None:
    runs = [
        [started("A", None), learned("x", 0.002 + 1e-4 * i), learned("y", -0.01)] for i in range(4)
    ]
    priors = priors_from_runs(runs, "A", simulated=False)
    assert priors["x"].gain_per_count() == pytest.approx(0.00215, rel=0.02)
    assert priors["y"].gain_per_count() == pytest.approx(-0.01)


def test_other_models_and_simulated_units_teach_nothing() -> None:
    runs = [
        [started("B", None), learned("x", 0.002)],
        [started("A", 3), learned("x", 0.002)],
        [learned("x", 0.002)],
    ]
    assert priors_from_runs(runs, "A", simulated=False) == {}


def test_signs_that_differ_leave_the_gain_open() -> None:
    runs = [[started("A", None), learned("x", (-1) ** i * 0.002)] for i in range(6)]
    assert priors_from_runs(runs, "A", simulated=False)["x"].gain_per_count() is None


def test_a_damaged_record_teaches_nothing_and_stops_nothing(tmp_path: Path) -> None:
    with open_store(str(tmp_path), tmp_path / "key.pem", tmp_path / "witness") as store:
        for run_id in ("a", "b", "c"):
            begun = started("A", None).model_copy(update={"run_id": run_id})
            for event in (begun, learned("x", 0.002)):
                store.append(run_id, event)
    file = next(tmp_path.glob("*.sqlite"))
    with closing(sqlite3.connect(file)) as raw, raw:
        raw.execute("DROP TRIGGER events_no_update")
        raw.execute(
            "UPDATE events SET body = X'00'"
            " WHERE run = (SELECT number FROM runs WHERE run_id = 'b')"
        )
    with open_store(str(tmp_path), tmp_path / "key.pem", tmp_path / "witness") as store:
        assert fleet_priors(store, "A", simulated=False)["x"].positive == 2


def test_a_void_run_teaches_nothing(tmp_path: Path) -> None:
    with open_store(str(tmp_path), tmp_path / "key.pem", tmp_path / "witness") as store:
        begun = started("A", None)
        store.append_all("r", [begun, learned("x", 0.002), some_events.finished()])
        assert "x" in fleet_priors(store, "A", simulated=False)
        add_addendum(store, "r", Wanted("voided", "B. Tarn", "wrong unit"))
        assert fleet_priors(store, "A", simulated=False) == {}
