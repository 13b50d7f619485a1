"""Instruments that share nothing with the simulator are driven by their data files alone."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

import anyio
import pytest

from ohmwright.cli.bench_data import read_bench
from ohmwright.cli.open_bench import open_bench
from ohmwright.engine.activation import activation
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.conformance import CHECKS
from ohmwright.instruments.conformance_kit import Kit

from .conftest import ANALYZERS, Table

pytestmark = pytest.mark.anyio


async def test_they_pass_the_conformance_kit(on_table: Callable[..., Table]) -> None:
    """All at once, since most of the time the kit waits for a limit to run out."""
    found = dict[str, str | None]()

    async def check_all(name: str) -> None:
        table = on_table(name)
        async with open_bench(read_bench(table.bench), unattended=True) as bench:
            await bench.generator.select("cut", 50)
            kit = _kit(bench)
            for check in CHECKS:
                found[f"{name}: {check.__name__}"] = (await check(kit)).problem
                assert not table.plant.is_on

    async with anyio.create_task_group() as tasks:
        for name in ANALYZERS:
            tasks.start_soon(check_all, name)
    assert found == dict.fromkeys(found)
    assert len(found) == len(ANALYZERS) * len(CHECKS)


def _kit(bench: Bench) -> Kit:
    @asynccontextmanager
    async def activate(load_ohm: float, limit_s: float) -> AsyncIterator[object]:
        async with activation(bench, load_ohm=load_ohm, power_w=50, limit_s=limit_s) as opened:
            yield opened

    return Kit(bench.analyzer, bench.clock, activate, load_ohm=300)
