"""Which runs a bench offers to go on with."""

from pathlib import Path
from typing import Any

from ohmwright.api.open_records import open_records
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.page.cut_short import AtBench, runs_cut_short
from ohmwright.records.asset_register import AssetChange, AssetRegister
from tests.records.some_events import finished, started

AS_FOUND = ("as_found",)
BENCH = AtBench("bench", "HF-1", ("Quillon 300",))


def test_what_cannot_go_on_there_is_not_offered(tmp_path: Path) -> None:
    told: dict[str, dict[str, Any]] = {
        "20260302T093000Z-HF-1-aaaa": {"stages": AS_FOUND},
        "20260302T093100Z-HF-1-bbbb": {"stages": AS_FOUND, "work": "sweep"},
        "20260302T093200Z-HF-1-cccc": {"stages": AS_FOUND, "bench": "another bench"},
        "20260302T093300Z-HF-1-dddd": {"stages": ("as_left",)},
        "20260302T093400Z-HF-1-eeee": {"stages": AS_FOUND},
        "20260302T093500Z-HF-1-ffff": {"stages": AS_FOUND},
    }
    *_, goes_on, has_ended = told
    with open_records(str(tmp_path)) as store:
        for run_id, fields in told.items():
            store.append_all(run_id, [started(run_id).model_copy(update=fields)])
        store.append_all(has_ended, [finished()])
    (found,) = runs_cut_short(str(tmp_path), BENCH, {goes_on})
    assert found.run_id == "20260302T093000Z-HF-1-aaaa"
    assert (found.asset, found.operator, found.work) == ("HF-1", "Áda", "as found")
    assert found.begun.startswith("2026-03-02T09:30:00")


def test_a_bench_offers_runs_on_what_it_can_work_alone(tmp_path: Path) -> None:
    """Its own unit, and units of the register of its models."""
    units = {"HF-1": "Q", "HF-2": "Other", "HF-3": "Q", "HF-9": "Q"}
    with open_records(str(tmp_path)) as store:
        known = [
            RegisteredAsset(tag=tag, maker="T", model=model, serial=tag)
            for tag, model in units.items()
            if tag in ("HF-1", "HF-2")
        ]
        changes = [AssetChange("added", one, 1) for one in known]
        AssetRegister(store.database).apply(changes, by="Ada Fell")
        for tag, model in units.items():
            begun = started(f"run-{tag}", tag, model=model)
            store.append_all(f"run-{tag}", [begun.model_copy(update={"stages": AS_FOUND})])

    def offered(own: str | None) -> list[str]:
        return [one.run_id for one in runs_cut_short(str(tmp_path), AtBench("bench", own, ("Q",)))]

    assert offered("HF-9") == ["run-HF-9", "run-HF-1"]
    assert offered(None) == ["run-HF-1"]
