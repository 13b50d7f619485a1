"""A person who presses the wrong way twice, unseen at first, leaves no trim nobody knows of."""

from __future__ import annotations

from contextlib import aclosing

import pytest

from ohmwright.engine.job import Job
from ohmwright.engine.run import run
from ohmwright.model.event import PointDone
from scripts.bench.coached import procedure_and_bench

SEED = 3596484497
"""Of this person's first three cues at the second point two are slips: the press that is to show
what a press does goes the other way, then coarse is pressed for fine."""


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@pytest.mark.anyio
async def test_a_trim_that_ran_away_by_hand_is_put_back_by_leaving_unsaved() -> None:
    bench, hardware = procedure_and_bench(0.05)[1].opened(SEED)
    file, _ = procedure_and_bench(0.0)
    before = dict(hardware.truth.trims)
    async with aclosing(run(Job(file, ("adjust",), "unit"), bench)) as events:
        async for event in events:
            if isinstance(event, PointDone) and event.result.point == "P2":
                break
    assert event.result.verdict == "fail"
    assert event.result.reason.startswith("the output does not follow the trim; the trim is back")
    assert hardware.truth.trims["P2"] == before["P2"]
    assert not hardware.truth.rf_on
