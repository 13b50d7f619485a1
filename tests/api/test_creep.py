"""The forecast of a store: what it says of units, and the risk kept for a worklist."""

import json
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from ohmwright.api import creep, risk_curves
from ohmwright.api.creep import recorded_forecast
from ohmwright.api.creep_cache import LearnedModels
from ohmwright.api.risk_curves import foretold_risks
from ohmwright.fleet.creep_filter import Histories
from ohmwright.fleet.creep_table import creep_rows, unit_creep
from ohmwright.fleet.interval_advice import AllowedIntervals, Costs
from ohmwright.fleet.unit_intervals import IntervalQuestion, unit_intervals
from ohmwright.fleet.worklist import risk_order
from ohmwright.fleet.years import date_of, years_of
from ohmwright.records.sql_store import SqlStore, open_store
from scripts.creep_history import NOW, write_histories
from tests.records.some_events import started


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("creep")


@pytest.fixture(scope="module")
def store(folder: Path) -> SqlStore:
    with open_store(str(folder / "records"), folder / "key", folder / "witness") as made:
        write_histories(made, units=24, years=6.0, seed=3)
        yield made


@pytest.fixture(autouse=True)
def _cache(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (creep, risk_curves):
        monkeypatch.setattr(module, "forecast_folder", lambda: folder / "cache")


def test_each_unit_is_foretold_from_its_own_past_and_its_model_s(store: SqlStore) -> None:
    forecast = recorded_forecast(store, simulated=True)
    rows = creep_rows(forecast, NOW)
    by_unit = {(row.asset, row.point): row for row in rows}
    assert len(by_unit) == 48
    assert [row.asset for row in rows if row.unlike > 0.9][:1] == ["HF-007"]
    means = {
        model: np.mean([row.rate_percent or 0.0 for row in rows if row.model == model])
        for model in ("Quillon 300", "Marlow 120")
    }
    assert means["Quillon 300"] > 0.7  # drawn about 1.6 and -2.2 % a year, and less at one point
    assert means["Marlow 120"] < -1.0
    places = [(*risk_order(u.risk), u.leaves_at or datetime.max) for u in unit_creep(rows)]
    places = [(*place[:3], place[3].replace(tzinfo=None)) for place in places]
    assert places == sorted(places)
    out_now = [unit.risk.now for unit in unit_creep(rows)]
    assert out_now != sorted(out_now, reverse=True), "what leaves next is not what is out now"
    for row in rows:
        assert row.lower < row.expected < row.upper
        if row.risk > 0.11:
            assert row.leaves_at is not None
            assert row.leaves_at < max(NOW, row.last_at) + timedelta(days=1)


def test_the_risk_for_a_worklist_is_the_forecast_s_until_a_unit_is_run_again(
    store: SqlStore,
) -> None:
    forecast = recorded_forecast(store, simulated=True)
    at = NOW + timedelta(days=40)
    risk = forecast.risk(np.full(len(forecast.assets), years_of(at)))
    told = foretold_risks(store, at, simulated=True)
    assert sorted(told) == list(forecast.assets)
    assert [one.now for one in told.values()] == pytest.approx(risk.tolist(), abs=0.02)
    ahead = [forecast.risk(np.full(len(risk), years_of(at) + month / 12)) for month in range(13)]
    within_year = [one.within_year for one in told.values()]
    assert within_year == pytest.approx(np.max(ahead, axis=0).tolist(), abs=0.02)
    assert foretold_risks(store, at, simulated=False) == {}
    store.append("again", started("again", "HF-001", seed=1).model_copy(update={"at": NOW}))
    assert sorted(set(forecast.assets) - set(foretold_risks(store, at, simulated=True))) == [
        "HF-001"
    ]


def test_the_same_values_are_learned_from_once(
    store: SqlStore, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = recorded_forecast(store, simulated=True, model="Marlow 120")
    monkeypatch.setattr("ohmwright.api.creep_cache.fit_creep", lambda _: pytest.fail("again"))
    after = recorded_forecast(store, simulated=True, model="Marlow 120")
    assert after.points[0].states.models == before.points[0].states.models
    for file in (folder / "cache").iterdir():
        file.write_bytes(b"{")
    assert foretold_risks(store, NOW, simulated=True) == {}
    with pytest.raises(pytest.fail.Exception):
        recorded_forecast(store, simulated=True, model="Marlow 120")


@pytest.mark.parametrize("kept", [[1], [None], [[1]], [], {}, "ab", [{"walk_sd": "x"}]])
def test_models_that_are_kept_damaged_are_learned_anew(tmp_path: Path, kept: object) -> None:
    years = np.array([[0.0, 1.0, 2.0]] * 4)
    seen = Histories(years, 0.1 * years, 0.0 * years + 0.1, years > 9.0, years >= 0.0)
    before = LearnedModels(tmp_path)
    models = list(before.fit(seen))
    before.keep()
    (file,) = tmp_path.iterdir()
    assert list(LearnedModels(tmp_path).fit(seen)) == models
    (digest,) = json.loads(file.read_text("utf-8"))
    file.write_text(json.dumps({digest: kept}), "utf-8")
    assert list(LearnedModels(tmp_path).fit(seen)) == models


def test_a_unit_leaves_when_the_first_of_its_points_does(store: SqlStore) -> None:
    forecast = recorded_forecast(store, simulated=True)
    rows = creep_rows(forecast, NOW)
    first = [unit for unit in unit_creep(rows) if unit.leaves_at != unit.riskiest.leaves_at]
    assert first, "a point that is not the riskiest now must leave before it in one unit at least"
    for unit in unit_creep(rows):
        index = forecast.assets.index(unit.riskiest.asset)
        times = forecast.last_at.copy()
        if unit.leaves_at is not None:
            times[index] = years_of(unit.leaves_at)
            assert forecast.risk(times)[index] >= 0.1 - 1e-6
        times[index] -= 1e-3
        assert times[index] <= forecast.last_at[index] or forecast.risk(times)[index] < 0.1


def test_units_of_a_model_have_intervals_about_the_one_for_all(store: SqlStore) -> None:
    forecast = recorded_forecast(store, simulated=True)
    asked = IntervalQuestion(0.9, AllowedIntervals(0.0, 3.0), None, date_of(0.0))
    rows = unit_intervals(forecast, asked)
    assert [row.asset is None for row in rows].count(True) == 2
    for model in ("Quillon 300", "Marlow 120"):
        whole, *units = (row for row in rows if row.model == model)
        assert whole.reliability is not None
        assert units[0].months <= whole.months <= units[-1].months
        at_end = [row.reliability for row in units if row.months > 0.0 and not row.held]
        assert at_end == pytest.approx([0.9] * len(at_end), abs=0.002)
        assert whole.held or whole.reliability == pytest.approx(0.9, abs=0.002)


def test_a_unit_that_is_out_is_due_now_whatever_a_visit_costs(store: SqlStore) -> None:
    forecast = recorded_forecast(store, simulated=True)
    late = date_of(float(forecast.last_at.max()) + 4.0)
    dear = Costs(visit=1e6, year_out=1.0)
    asked = IntervalQuestion(0.5, AllowedIntervals(1.0, 10.0), dear, late, failed={"HF-003"})
    rows = {row.asset: row for row in unit_intervals(forecast, asked)}
    risk = forecast.risk(np.full(len(forecast.assets), years_of(late)))
    out = {asset for asset, now in zip(forecast.assets, risk, strict=True) if now >= 0.5}
    assert out, "some units must be probably out"
    assert {asset for asset, row in rows.items() if row.due_now} == out | {"HF-003"}
    for asset in out | {"HF-003"}:
        assert rows[asset].next_visit == late
    failed = rows["HF-003"]
    assert (failed.months, failed.cheapest_months, failed.reliability) == (0.0, 0.0, None)
    assert failed.due_now == "failed"


@pytest.mark.parametrize(("why", "is_told"), [("withdrawn", False), ("failed", True)])
def test_a_unit_that_was_withdrawn_or_failed_teaches_no_interval(
    store: SqlStore, why: str, *, is_told: bool
) -> None:
    forecast = recorded_forecast(store, simulated=True)
    asked = IntervalQuestion(0.9, AllowedIntervals(0.0, 3.0), None, date_of(0.0))
    everyone = unit_intervals(forecast, asked)
    worst = min(everyone, key=lambda row: row.months)
    rest = unit_intervals(forecast, replace(asked, **{why: {worst.asset}}))
    assert (worst.asset in {row.asset for row in rest}) is is_told
    before, after = (
        next(row.months for row in rows if row.asset is None and row.model == worst.model)
        for rows in (everyone, rest)
    )
    assert after > before
