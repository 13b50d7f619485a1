"""Which runs a bench offers to go on with."""

from pathlib import Path
from typing import Any

from ohmwright.api.open_records import open_records
from ohmwright.page.cut_short import AtBench, runs_cut_short
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
