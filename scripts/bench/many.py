"""Sixty-four serial benches on one computer, each read ten times a second with RF on.

    python scripts/bench/many.py [--benches 64] [--seconds 20] [--guarded]

One process serves simulated benches on pseudo-terminals, in real time; another works all of them in
one event loop: bench files opened, activations and readings are those of a run. A reading is missed
where the next one that came has a number higher by more than one. Jitter is how late a query
begins, after it was due. `--guarded` opens each analyzer through
a guard process of its own, as at a real bench. The figures mean something only on a machine that
does nothing else: the load beside it is printed. Prints one table and a JSON line.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from statistics import median

import anyio
import numpy as np

from ohmwright.api.bench_data import BenchData, read_bench
from ohmwright.api.open_bench import open_bench, simulated_bench
from ohmwright.api.simulation_profiles import read_simulation_profiles
from ohmwright.engine.activation import activation
from ohmwright.engine.sampling import samples
from ohmwright.instruments.analyzer import Reading
from ohmwright.instruments.bench import Bench
from ohmwright.model.bench_file import SerialPort
from ohmwright.model.shipped import shipped
from ohmwright.simulator.bench_ports import PortAddresses
from ohmwright.simulator.serve_pty import serve_ptys
from ohmwright.wire.clock import RealClock

_MODE, _SETTING_W, _LOAD_OHM = "cut", 30.0, 500.0
_LONGEST_S = 30.0
_WITHIN_S = 3.0
"""In this time all benches begin to read: nobody keys sixty-four units at one instant."""
_SERVED = shipped("benches", "demo.toml")


@dataclass
class Read:
    """What one bench gave."""

    numbers: list[int] = field(default_factory=list)
    """Of each reading that came, in order; the same one twice stands here twice."""
    late_s: list[float] = field(default_factory=list)
    """How late each query began, after it was due."""

    @property
    def missed(self) -> int:
        """Readings between the first and the last that never came."""
        return sum(max(0, b - a - 1) for a, b in zip(self.numbers, self.numbers[1:], strict=False))

    @property
    def asked_again(self) -> int:
        """Queries that gave a reading once more."""
        return len(self.numbers) - len(set(self.numbers))


class WatchedClock(RealClock):
    """The machine's time; notes by how much each sleep is longer than was asked for."""

    def __init__(self, late_s: list[float]) -> None:
        self._late_s = late_s

    async def sleep(self, duration_s: float) -> None:
        """Return when `duration_s` seconds have passed."""
        due_s = self.now_s() + duration_s
        await super().sleep(duration_s)
        self._late_s.append(self.now_s() - due_s)


async def serve(benches: int) -> None:
    """Serve so many benches until cancelled; prints the ports of each in a line."""
    data = read_bench(_SERVED)
    data = replace(data, profiles=read_simulation_profiles(data.analyzer_path, data.generator_path))
    async with anyio.create_task_group() as tasks:
        for _ in range(benches):
            tasks.start_soon(serve_ptys, simulated_bench(data, RealClock()), _announce)


def _announce(ports: PortAddresses) -> None:
    named = {"analyzer": ports.analyzer, "generator": ports.generator}
    print(json.dumps({name: one.port for name, one in named.items()}), flush=True)


@contextmanager
def served(benches: int) -> Iterator[list[BenchData]]:
    """Yield the data of so many benches that a process of their own serves."""
    call = [sys.executable, "-m", "scripts.bench.many", "--serve", "--benches", str(benches)]
    server = subprocess.Popen(call, stdout=subprocess.PIPE, text=True)
    assert server.stdout is not None
    try:
        yield [_on_ports(json.loads(server.stdout.readline())) for _ in range(benches)]
    finally:
        server.terminate()
        server.wait()


def _on_ports(ports: dict[str, str]) -> BenchData:
    """Return the data of the served bench, reached over its serial ports."""
    data = read_bench(_SERVED)
    links = {
        name: getattr(data.file, name).model_copy(
            update={"link": SerialPort(kind="serial", port=ports[name])}
        )
        for name in ("analyzer", "generator")
    }
    return replace(data, file=data.file.model_copy(update=links))


class AllOpen:
    """Waits until so many benches are open."""

    def __init__(self, benches: int) -> None:
        self._missing, self._event = benches, anyio.Event()

    async def wait(self) -> None:
        """Count one that is open, and wait for the others."""
        self._missing -= 1
        if self._missing == 0:
            self._event.set()
        await self._event.wait()


async def work(
    data: BenchData, seconds: float, guarded: bool, all_open: AllOpen, after_s: float
) -> Read:
    """Open a bench, and read it with RF on for so long, `after_s` after all are open."""
    found = Read()
    async with open_bench(data, unattended=False, guarded=guarded) as bench:
        await bench.analyzer.identify()
        await bench.generator.identify()
        await bench.generator.select(_MODE, _SETTING_W)
        await all_open.wait()
        await anyio.sleep(after_s)
        await _read(bench, seconds, found)
    return found


async def _read(bench: Bench, seconds: float, found: Read) -> None:
    interval_s = 1 / bench.analyzer.data.meter.readings_per_s

    async def fetch() -> Reading:
        reading = await bench.analyzer.fetch_current()
        assert reading.number is not None
        found.numbers.append(reading.number)
        return reading

    opened = activation(bench, load_ohm=_LOAD_OHM, power_w=_SETTING_W, limit_s=_LONGEST_S)
    async with opened as active:
        clock, digit_ma = WatchedClock(found.late_s), bench.analyzer.digit_ma
        async for _ in samples(active, fetch, clock, interval_s, seconds, digit_ma):
            pass


async def read_all(benches: list[BenchData], seconds: float, *, guarded: bool) -> list[Read]:
    """Work every bench at the same time; once all are open they begin to read, one by one."""
    found: list[Read] = []
    all_open = AllOpen(len(benches))

    async def one(data: BenchData, after_s: float) -> None:
        found.append(await work(data, seconds, guarded, all_open, after_s))

    async with anyio.create_task_group() as tasks:
        for place, data in enumerate(benches):
            tasks.start_soon(one, data, _WITHIN_S * place / len(benches))
    return found


def figures_of(found: list[Read], core_share: float) -> dict[str, float]:
    """Return the figures of all benches together."""
    late_ms = 1000 * np.concatenate([one.late_s for one in found])
    return {
        "benches": len(found),
        "readings": sum(len(set(one.numbers)) for one in found),
        "readings missed": sum(one.missed for one in found),
        "asked again": sum(one.asked_again for one in found),
        "jitter p50, ms": float(median(late_ms)),
        "jitter p99, ms": float(np.percentile(late_ms, 99)),
        "jitter most, ms": float(late_ms.max()),
        "share of a core, reading": core_share,
        "load of this machine before": os.getloadavg()[0],
    }


def main() -> None:
    """Print the table and the JSON line."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--benches", type=int, default=64)
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--guarded", action="store_true")
    parser.add_argument("--serve", action="store_true", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.serve:
        anyio.run(serve, options.benches)
        return
    with served(options.benches) as benches:
        began_s = time.process_time()
        read = partial(read_all, benches, options.seconds, guarded=options.guarded)
        found = anyio.run(read)
        core_share = (time.process_time() - began_s) / options.seconds
    figures = figures_of(found, core_share)
    for name, value in figures.items():
        print(f"{name:32} {value:10.2f}")
    print(json.dumps({"bench": "many", **figures}))


if __name__ == "__main__":
    main()
