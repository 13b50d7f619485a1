"""A short procedure and the shipped bench, rehearsed."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from ohmwright.api.bench_data import read_bench
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.model.shipped import shipped
from ohmwright.model.step import Stage
from ohmwright.rehearsal.from_files import rehearsed_bench
from ohmwright.rehearsal.unit_run import Rehearsed

OUTPUT = """
[[step]]
kind = "output"
name = "cut"
mode = "cut"
setting_w = 310
load_ohm = 500
power_w = {power_w}
tolerance = {{ percent = {percent} }}
"""


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@pytest.fixture
def make(tmp_path: Path) -> Callable[..., Rehearsed]:
    """A rehearsal of one output point, and of the steps in `more`."""

    def make(
        power_w: float = 305.6,
        percent: float = 6,
        *,
        more: str = "",
        stages: tuple[Stage, ...] = ("as_left",),
        seed: int = 1,
    ) -> Rehearsed:
        path = tmp_path / f"short-{power_w:g}-{percent:g}.toml"
        path.write_text(
            'title = "Short"\nrevision = "1"\nmodel = "Quillon 300"\n'
            + OUTPUT.format(power_w=power_w, percent=percent)
            + more,
            encoding="utf-8",
        )
        bench = rehearsed_bench(read_bench(shipped("benches", "demo.toml")))
        return Rehearsed(read_procedure(path), replace(bench, age_months=0.0), seed, stages)

    return make
