"""What is believed of presses and turns out wrong leaves no trim that nobody knows of."""

from __future__ import annotations

from contextlib import aclosing

import pytest

from ohmwright.engine.job import Job
from ohmwright.engine.run import run
from ohmwright.model.event import PointDone
from ohmwright.model.result import Result
from ohmwright.simulator.bench import SimulatedBench
from scripts.bench.coached import procedure_and_bench
from scripts.bench.job import landing

SLIPS_TWICE = 3596484497
"""Of this person's first three cues at the second point two are slips: the press that is to show
what a press does goes the other way, then coarse is pressed for fine."""
HUNTS = 3662533436
"""This person slips nowhere; the unit hunts, so that the meter shows a slip that was none."""


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


async def second_point(seed: int) -> tuple[Result, SimulatedBench, int]:
    """The result at P2 of the person and unit of `seed`, their bench, and the trim before."""
    bench, hardware = procedure_and_bench(0.05)[1].opened(seed)
    file, _ = procedure_and_bench(0.0)
    before = hardware.truth.trims["P2"]
    async with aclosing(run(Job(file, ("adjust",), "unit"), bench)) as events:
        async for event in events:
            if isinstance(event, PointDone) and event.result.point == "P2":
                return event.result, hardware, before
    raise AssertionError("no result")


@pytest.mark.anyio
async def test_the_wrong_direction_where_the_gain_was_learned_is_found_out() -> None:
    result, hardware, _ = await second_point(SLIPS_TWICE)
    assert result.target is not None
    assert result.verdict == "pass"
    assert abs(landing(result.target, hardware)) < 1


@pytest.mark.anyio
async def test_a_slip_that_was_none_is_undone_and_not_found_again_and_again() -> None:
    result, hardware, before = await second_point(HUNTS)
    assert result.final_trim == hardware.truth.trims["P2"] - before
    assert result.verdict == "pass"
