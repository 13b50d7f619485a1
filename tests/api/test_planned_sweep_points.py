"""How many points the sweeps of a run are to have is counted from the procedure on its record."""

from datetime import UTC, datetime
from hashlib import sha256
from typing import Any

import pytest

from ohmwright.api.planned_sweep_points import planned_sweep_points
from ohmwright.model.document import Document
from ohmwright.model.event import DocumentKept, RunStarted
from ohmwright.model.step import Stage

NOW: dict[str, Any] = {"at": datetime(2026, 1, 5, tzinfo=UTC), "bench_s": 0.0}
TEXT = """
title = "t"
revision = "1"
model = "Quillon 300"

[[step]]
kind = "sweep"
name = "sweep"
stages = ["as_found", "as_left"]
modes = { cut = [50, 300] }
loads_ohm = [100, 500, 2000]
rest_s = 5
max_on_s = 15

[[step]]
kind = "output"
name = "cut"
mode = "cut"
setting_w = 150
load_ohm = 500
power_w = 150
tolerance = { percent = 20 }
"""


@pytest.mark.parametrize(
    ("stages", "points"), [(("as_found",), 6), (("as_found", "as_left"), 12), (("adjust",), 0)]
)
def test_points_of_sweeps_in_all_stages_of_the_run_count(
    stages: tuple[Stage, ...], points: int
) -> None:
    """Would notice a run called whole, or cut short, by the points of one stage or other steps."""
    digest = sha256(TEXT.encode()).hexdigest()
    document = Document(role="procedure", name="p.toml", sha256=digest, text=TEXT)
    started = RunStarted.model_construct(**NOW, stages=stages)
    kept = DocumentKept(**NOW, document=document)
    assert planned_sweep_points([started, kept]) == points
    assert planned_sweep_points([started]) is None
