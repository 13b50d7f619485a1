"""The page's worklist and creep say what the command line says of the same records."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from ohmwright.api.campaign_work import store_worklist
from ohmwright.api.creep import recorded_forecast
from ohmwright.api.open_records import open_records
from ohmwright.fleet.creep_course import creep_course
from ohmwright.fleet.creep_table import creep_rows
from ohmwright.invented_history.fleet import invented_fleet
from ohmwright.invented_history.make_history import make_history
from ohmwright.model.bench_file import Asset
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.page.history import History
from ohmwright.page.outlook import Outlook
from ohmwright.records.asset_register import AssetChange, AssetRegister
from ohmwright.records.sql_store import open_store
from ohmwright.wire.clock import RealClock
from tests.records.some_events import EXPIRED, started, uncovered_run, whole_run

UNITS, MODEL = 3, "Isken 120"


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Records of a few invented units, which are in the register."""
    folder = tmp_path_factory.mktemp("records")
    units = [unit for unit in invented_fleet(3, date(2026, 6, 30)) if unit.asset.model == MODEL]
    with pytest.MonkeyPatch.context() as patch:
        for name in ("DATA", "CONFIG", "STATE", "CACHE"):
            patch.setenv(f"XDG_{name}_HOME", str(folder / name.lower()))
        with open_records(str(folder)) as store:
            make_history(store, units[:UNITS], 3, lambda done, of: None)
            changes = [_added(unit.asset) for unit in units[:UNITS]]
            AssetRegister(store.database).apply(changes, by="Ada Fell")
    return str(folder)


def _added(unit: Asset) -> AssetChange:
    asset = RegisteredAsset(
        tag=unit.id, maker=unit.maker, model=unit.model, serial=unit.serial, site=unit.department
    )
    return AssetChange("added", asset, revision=1)


def test_order_and_creep_are_those_of_the_command_line(place: str) -> None:
    shown = Outlook(place).renew(simulated=True)
    with open_records(place) as store:
        told = store_worklist(store, simulated=True)
    assert [unit["tag"] for unit in shown["units"]] == [unit.asset.tag for unit in told]
    for share in ("now", "within_year"):
        risks = [unit[f"risk_{share}"] for unit in shown["units"]]
        assert risks == pytest.approx([getattr(unit.risk, share) for unit in told], abs=1e-6)
    assert all(unit["foretold"] for unit in shown["units"])
    assert len(shown["units"]) == UNITS
    _holds_for_unit(place, told[0].asset.tag)


def _holds_for_unit(place: str, asset: str) -> None:
    """A unit is shown with its band, and with the date at which it leaves its limits."""
    shown = Outlook(place).unit(asset, simulated=True)
    with open_records(place) as store:
        forecast = recorded_forecast(store, simulated=True)
    at = RealClock().wall()
    rows = [row for row in creep_rows(forecast, at) if row.asset == asset]
    as_likely_as_not = {
        (row.step, row.point): row.leaves_at
        for row in creep_rows(forecast, at, probability=0.5)
        if row.asset == asset
    }
    assert len(shown["points"]) == len(rows) > 0
    for point, row in zip(shown["points"], rows, strict=True):
        even = as_likely_as_not[row.step, row.point]
        assert point["even_out"]["on"] == (None if even is None else f"{even:%Y-%m-%d}")
        seen = creep_course(forecast, row, at).seen[-1]
        assert point["seen"][-1][2] == pytest.approx(2 * seen.uncertainty)
        assert (point["step"], point["point"]) == (row.step, row.point)
        leaves = None if row.leaves_at is None else f"{row.leaves_at:%Y-%m-%d}"
        assert point["risky_out"]["on"] == leaves
        low, _, high = point["figures"]
        assert f"{low} to {high} " in point["limits"]
        assert float(low) >= point["lower"] - 1e-9
        assert float(high) <= point["upper"] + 1e-9
        assert point["seen"][-1][1] == pytest.approx(row.last_value)
        for _, middle, low, lower, upper, high in point["ahead"]:
            assert low <= lower <= middle <= upper <= high
        assert point["ahead"][0][0] == pytest.approx(point["seen"][-1][0])


def test_nothing_is_foretold_of_what_is_not_on_record(place: str, tmp_path: Path) -> None:
    assert Outlook(place).unit("HF-999", simulated=True)["points"] == []
    real = Outlook(place).worklist(simulated=False)["units"]
    assert {unit["risk_now"] for unit in real} == {None}, "simulated runs say nothing of real units"
    assert replace(Outlook(place), place=str(tmp_path)).worklist(simulated=False)["units"] == []


def test_a_unit_whose_values_no_certificate_covers_is_marked(tmp_path: Path) -> None:
    files = (tmp_path / "key", tmp_path / "witness")
    with open_store(str(tmp_path), *files) as store:
        store.append_all("a", uncovered_run("none"))
        store.append_all("b", whole_run("b", "HF-2"))
        store.append_all("c", [started("c", "HF-3"), *uncovered_run(EXPIRED)[1:]])
        changes = [
            AssetChange("added", RegisteredAsset(tag=tag, maker="T", model="Q", serial=tag), 1)
            for tag in ("HF-1", "HF-2", "HF-3")
        ]
        AssetRegister(store.database).apply(changes, by="Ada Fell")
    place = str(tmp_path)
    units = Outlook(place).worklist(simulated=False)["units"]
    grounds = {unit["tag"]: (unit["not_traceable"], unit["analyzer_past_due"]) for unit in units}
    assert grounds == {"HF-1": (True, False), "HF-2": (False, False), "HF-3": (False, True)}
    found = {run["run_id"]: run["analyzer_past_due"] for run in History(place).runs("", "")["runs"]}
    assert found == {"a": False, "b": False, "c": True}
    points = Outlook(place).unit("HF-3", simulated=False)["points"]
    assert {(one["not_traceable"], one["analyzer_past_due"]) for one in points} == {(False, True)}


def test_a_due_date_as_told_rests_on_no_value_and_is_not_marked(tmp_path: Path) -> None:
    """One of an analyzer without a certificate is on record, and another day counts."""
    with open_store(str(tmp_path), tmp_path / "key", tmp_path / "witness") as store:
        store.append_all("a", uncovered_run("none"))
        unit = RegisteredAsset(tag="HF-1", maker="T", model="Q", serial="1")
        told = unit.model_copy(update={"last_passed": "2026-01-31"})
        AssetRegister(store.database).apply([AssetChange("added", told, 1)], by="Ada Fell")
    (shown,) = Outlook(str(tmp_path)).worklist(simulated=False)["units"]
    assert (shown["last_is_told"], shown["not_traceable"]) == (True, False)


def test_a_unit_that_passed_as_told_alone_is_marked_and_has_no_run_to_open(tmp_path: Path) -> None:
    files = (tmp_path / "key", tmp_path / "witness")
    with open_store(str(tmp_path), *files) as store:
        store.append_all("b", whole_run("b", "HF-2"))
        unit = RegisteredAsset(tag="HF-1", maker="T", model="Q", serial="1")
        told = unit.model_copy(update={"last_passed": "2026-01-31"})
        seen = unit.model_copy(update={"tag": "HF-2", "serial": "2"})
        changes = [AssetChange("added", one, 1) for one in (told, seen)]
        AssetRegister(store.database).apply(changes, by="Ada Fell")
    units = Outlook(str(tmp_path)).worklist(simulated=False)["units"]
    assert {one["tag"]: (one["last_is_told"], one["last_run"]) for one in units} == {
        "HF-1": (True, None),
        "HF-2": (False, "b"),
    }
