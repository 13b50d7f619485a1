"""Data that state a window of 0.4 s for momentary readings: a trim that works is seen."""

from __future__ import annotations

import random
from pathlib import Path
from typing import NamedTuple

import pytest

from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.engine.run_so_far import results
from ohmwright.model.event import Commented
from ohmwright.model.result import Result

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


class Adjusted(NamedTuple):
    """What came of one adjustment, what was told meanwhile, and where the output really stood."""

    result: Result
    told: str
    settled_ma: float


async def adjusted(
    folder: Path, monkeypatch: pytest.MonkeyPatch, seed: int, *, noise: float, count_share: float
) -> Adjusted:
    """Adjust a trim of which a count moves the output by `count_share`."""
    settled = property(lambda plant: STARTS_MA * (1 + count_share * plant.trim))
    monkeypatch.setattr(Plant, "settled_ma", settled)
    table = virtual_table("brindle-7", folder, SLOW_S)
    data = table.bench.analyzer.data
    meter = data.meter.model_copy(update={"window_s": 0.4})
    table.bench.analyzer.data = data.model_copy(update={"meter": meter})
    table.plant.draws, table.plant.noise = random.Random(seed), noise
    table.plant.lag_s = 0.02
    procedure = folder / "adjust.toml"
    procedure.write_text(ADJUST, encoding="utf-8")
    job = Job(read_procedure(procedure), ("adjust",), "emulated")
    events = [event async for event in run(job, table.bench)]
    (result,) = results(events)
    told = " ".join(event.words for event in events if isinstance(event, Commented))
    return Adjusted(result, told, table.plant.settled_ma)


def refuse_unless_right(one: Adjusted) -> None:
    """A pass is within limits; what is undecided says that the trim showed, and looks at data."""
    if one.result.verdict == "pass":
        assert abs(one.settled_ma - 150.0) < 3.0
        return
    assert one.result.verdict == "undecided", one.result.reason
    assert "though it read" in one.result.reason
    assert "window_s in the analyzer's data" in one.result.reason


async def test_a_window_stated_too_long_is_told_and_units_are_adjusted_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What no model fits is moved by what two places read: 18 of these passed without that."""
    ended = [
        await adjusted(tmp_path, monkeypatch, seed, noise=0.001, count_share=0.004)
        for seed in range(20, 40)
    ]
    for one in ended:
        assert one.result.verdict == "pass", one.result.reason
        refuse_unless_right(one)
    sooner = "the readings followed moves of a trim sooner than means over 0.4 s can"
    assert sum(sooner in one.told for one in ended) >= 12


@pytest.mark.parametrize("seed", range(20, 24))
async def test_a_window_stated_too_long_hides_no_effect(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    """Where the readings scatter too much to show the window, the trim's effect still shows."""
    refuse_unless_right(
        await adjusted(tmp_path, monkeypatch, seed, noise=0.003, count_share=0.0005)
    )
