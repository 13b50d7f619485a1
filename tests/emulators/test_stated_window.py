"""Data that state a window of 0.4 s for momentary readings: a trim that works is seen."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.resume import results
from ohmwright.engine.run import run
from ohmwright.model.event import Commented

from .conftest import virtual_table
from .plant import Plant

pytestmark = pytest.mark.anyio
SLOW_S = 10 / 9600
"""A character at 9600 baud."""
STARTS_MA = 157.0
ADJUST = """\
title = "One trim"
revision = "1"
model = "Osier 90"

[defaults]
age_s = 3
rest_s = 5
max_on_s = 30

[[step]]
kind = "adjust"
name = "adjust-1"
point = "1"
load_ohm = 300
current_ma = 150
tolerance = { absolute_ma = 3 }
"""


@pytest.mark.parametrize(
    ("noise", "count_share", "surely_passes"), [(0.001, 0.004, True), (0.003, 0.0005, False)]
)
@pytest.mark.parametrize("seed", range(20, 24))
async def test_a_window_stated_too_long_hides_no_effect(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    seed: int,
    noise: float,
    count_share: float,
    surely_passes: bool,
) -> None:
    """Where the readings scatter too much to show the window, the trim's effect still shows."""
    settled = property(lambda plant: STARTS_MA * (1 + count_share * plant.trim))
    monkeypatch.setattr(Plant, "settled_ma", settled)
    table = virtual_table("brindle-7", tmp_path, SLOW_S)
    data = table.bench.analyzer.data
    meter = data.meter.model_copy(update={"window_s": 0.4})
    table.bench.analyzer.data = data.model_copy(update={"meter": meter})
    table.plant.draws, table.plant.noise = random.Random(seed), noise
    table.plant.lag_s = 0.02
    procedure = tmp_path / "adjust.toml"
    procedure.write_text(ADJUST, encoding="utf-8")
    job = Job(read_procedure(procedure), ("adjust",), "emulated")
    events = [event async for event in run(job, table.bench)]
    (result,) = results(events)
    if result.verdict == "pass":
        assert abs(table.plant.settled_ma - 150.0) < 3.0
    else:
        assert not surely_passes, result.reason
        assert result.verdict == "undecided", result.reason
        assert "though it read" in result.reason
        assert "window_s in the analyzer's data" in result.reason
    if surely_passes:
        (words,) = (event.words for event in events if isinstance(event, Commented))
        assert "the readings followed moves of a trim sooner than means over 0.4 s can" in words
