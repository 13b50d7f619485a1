"""Instruments that share nothing with the simulator are driven by their data files alone.

In real time over pseudo-terminals, guard included; all at once, since most of the time is waited.
"""

from __future__ import annotations

import os
import re
import signal
import sys
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from subprocess import PIPE, STDOUT

import anyio
import anyio.abc
import pytest

from ohmwright.api.bench_data import read_bench
from ohmwright.api.open_bench import open_bench
from ohmwright.engine.activation import activation
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.conformance import CHECKS
from ohmwright.instruments.conformance_kit import Kit

from .conftest import ANALYZERS, FILES, Table

pytestmark = pytest.mark.anyio
FOUND_W = 50 * 0.95**2
"""What the unit delivers as found: 5 % less current than it should."""
POINT = re.compile(r"300 ohm .* W ([\d.]+) ± ([\d.]+) FAIL ([\d.]+) ± ([\d.]+) PASS")
"""The output's line of a calibration: as found with its U, as left with its U."""
OFF_WITHIN_S = 2.0
CLOSED = {"brindle-7": "remote", "sedge-s1": "streams"}
"""What must be over when a bench is closed."""
_LOOKS = 6000


async def test_they_pass_the_conformance_kit_and_calibrate_a_unit(
    on_table: Callable[..., Table], tmp_path: Path
) -> None:
    found = dict[str, str | None]()

    async def check_all(name: str) -> None:
        table = on_table(name)
        async with open_bench(read_bench(table.bench), unattended=True) as bench:
            await bench.generator.select("cut", 50)
            kit = _kit(bench)
            for check in CHECKS:
                found[f"{name}: {check.__name__}"] = (await check(kit)).problem
                assert not table.plant.is_on
        await _until(lambda: not (getattr(table.analyzer, CLOSED.get(name, ""), False)))

    async def calibrate(name: str) -> None:
        table = on_table(name)
        command = _program("calibrate", table, tmp_path / name)
        program = await anyio.run_process(command, stderr=STDOUT, check=False)
        said = program.stdout.decode()
        assert program.returncode == 0, said
        shown = POINT.search(said)
        assert shown is not None, said
        found_w, found_u, left_w, left_u = map(float, shown.groups())
        assert found_w == pytest.approx(FOUND_W, abs=found_u)
        assert left_w == pytest.approx(300 * (table.plant.settled_ma / 1000) ** 2, abs=left_u)
        assert table.generator.kept == table.plant.trim
        assert f"0 to {table.plant.trim} " in said
        assert not table.plant.is_on

    async with anyio.create_task_group() as tasks:
        for name in ANALYZERS:
            tasks.start_soon(check_all, name)
            tasks.start_soon(calibrate, name)
    assert found == dict.fromkeys(found)
    assert len(found) == len(ANALYZERS) * len(CHECKS)


async def test_when_the_program_is_killed_with_rf_on_the_guard_switches_off(
    on_table: Callable[..., Table], tmp_path: Path
) -> None:
    async def kill(name: str) -> None:
        table = on_table(name)
        command = _program("verify", table, tmp_path / name)
        async with await anyio.open_process(command, stdout=PIPE, stderr=STDOUT) as program:
            # its limit must not be what ends it
            await _until(lambda: table.plant.left_s > OFF_WITHIN_S + 0.5)
            os.kill(program.pid, signal.SIGKILL)
            killed_s = time.monotonic()
            await _until(lambda: not table.plant.is_on)
            assert table.plant.log[-1][1] - killed_s < OFF_WITHIN_S

    async with anyio.create_task_group() as tasks:
        for name in ANALYZERS:
            tasks.start_soon(kill, name)


def _program(work: str, table: Table, records: Path) -> list[str]:
    """The command line of a job on what stands on the table, which nobody attends."""
    job = [sys.executable, "-m", "ohmwright", work, str(FILES / "osier-90-check.toml")]
    return [*job, "--bench", str(table.bench), "--records", str(records), "--unattended"]


async def _until(true: Callable[[], bool]) -> None:
    for _ in range(_LOOKS):
        if true():
            return
        await anyio.sleep(0.01)
    pytest.fail("it did not come true in a minute")


def _kit(bench: Bench) -> Kit:
    @asynccontextmanager
    async def activate(load_ohm: float, limit_s: float) -> AsyncIterator[object]:
        async with activation(bench, load_ohm=load_ohm, power_w=50, limit_s=limit_s) as opened:
            yield opened

    return Kit(bench.analyzer, bench.clock, activate, load_ohm=300)
