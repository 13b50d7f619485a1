"""A window that the analyzer's data state too long is told once, on record."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from ohmwright.api.bench_data import read_bench
from ohmwright.api.open_bench import open_bench
from ohmwright.api.sweep_plan import Sweep
from ohmwright.engine.job import Job
from ohmwright.engine.run import run
from ohmwright.model.event import Commented
from ohmwright.model.shipped import shipped
from ohmwright.reports.run_remarks import remarks_of_run

pytestmark = pytest.mark.anyio


@pytest.mark.parametrize(("stated", "told"), [(1.0, 0), (8.0, 1)])
async def test_a_window_shorter_than_stated_is_told_once(stated: float, told: int) -> None:
    data = read_bench(shipped("benches", "demo.toml")).with_seed(3)
    meter = data.analyzer.meter.model_copy(
        update={"window_s": stated * data.analyzer.meter.window_s}
    )
    data = replace(data, analyzer=data.analyzer.model_copy(update={"meter": meter}))
    plan = Sweep(modes={"cut": [150]}, loads_ohm=[200, 500, 1000], repeats=2)
    async with open_bench(data, unattended=False) as bench:
        job = Job(plan.procedure_file(data), ("as_found",), "test")
        events = [event async for event in run(job, bench)]
    found = [event.words for event in events if isinstance(event, Commented)]
    assert len(found) == told
    if told:
        assert re.search(r"sooner than means over 4 s can; means over [\d.]+ s or less", found[0])
        assert any(remark.endswith(f" UTC, {found[0]}") for remark in remarks_of_run(events))
