"""Simulated seconds per wall second: the bench's own clock against the same loop under looptime.

Both run the same readings at 10 a second through the same dialogue, codec and simulated bench; only
the clock differs. The core of a rehearsal takes the same readings without bytes, and rests between
activations without being asked for anything. Prints one table and a JSON line.

    python scripts/bench/time.py [--seconds 600] [--rounds 5]
"""

import argparse
import asyncio
import json
import time
from collections.abc import Callable
from datetime import UTC, datetime
from statistics import median

import looptime

from ohmwright.engine.activation import Activation
from ohmwright.engine.sampling import samples
from ohmwright.instruments.absent_operator import AbsentOperator
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.hand_operated import HandOperatedGenerator
from ohmwright.instruments.remote_analyzer import RemoteAnalyzer
from ohmwright.model.bench_file import Asset
from ohmwright.model.shipped import shipped
from ohmwright.model.source import load
from ohmwright.simulator.bench import SimulatedBench
from ohmwright.simulator.direct_analyzer import DirectAnalyzer
from ohmwright.simulator.profile import AnalyzerProfile, GeneratorProfile
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.command_set import load_command_set
from ohmwright.wire.dialogue import Dialogue
from ohmwright.wire.links.memory import MemoryLink


class LoopClock(VirtualClock):
    """Time as looptime's event loop has it."""

    def now_s(self) -> float:
        return asyncio.get_running_loop().time()

    def wall(self) -> datetime:
        return datetime.fromtimestamp(self.now_s(), UTC)

    async def sleep(self, duration_s: float) -> None:
        await asyncio.sleep(duration_s)


ANALYZER = shipped("analyzers", "gantry-400.toml")
PROFILES = (
    load(ANALYZER, AnalyzerProfile),
    load(shipped("generators", "quillon-300.toml"), GeneratorProfile),
)


_ASSET = Asset(id="1", maker="m", model="m", serial="1")
_NO_GENERATOR = HandOperatedGenerator(PROFILES[1].data, AbsentOperator(), "none")


async def read_for(clock: VirtualClock, seconds: float, *, direct: bool = False) -> int:
    """One simulated activation after another, `seconds` of readings in all; their number."""
    hardware = SimulatedBench(*PROFILES, seed=1, clock=clock)
    link = MemoryLink("analyzer", hardware.analyzer_port, clock)
    data = PROFILES[0].data
    commands = load_command_set(str(data.command_set), ANALYZER)
    dialogue = Dialogue(link, commands, clock)
    analyzer = RemoteAnalyzer(data, dialogue)
    if direct:
        analyzer = DirectAnalyzer(data, dialogue, "", hardware.readings)
    hardware.generator_port(b'SOUR:FUNC "cut";POW 100\n')
    bench = Bench("bench", analyzer, _NO_GENERATOR, AbsentOperator(), clock, _ASSET)
    await analyzer.set_load(500)
    count = 0
    for _ in range(round(seconds / 10)):
        hardware.analyzer_port(b"OUTP:STAT ON,15\n")
        opened = Activation(bench, load_ohm=500, power_w=100, limit_s=15)
        readings = samples(
            opened, analyzer.fetch_current, clock, interval_s=0.1, until_s=10, digit_ma=1.0
        )
        async for _sample in readings:
            count += 1
        hardware.analyzer_port(b"OUTP:STAT OFF\n")
        await clock.sleep(30)
    return count


def timed(run: Callable[[], int], seconds: float) -> float:
    """Simulated seconds of readings per wall second."""
    start = time.perf_counter()
    count = run()
    wall = time.perf_counter() - start
    assert count > 0.9 * seconds * 10, f"only {count} readings"
    return seconds / wall


def own(seconds: float) -> int:
    return asyncio.run(read_for(VirtualClock(), seconds))


def core(seconds: float) -> int:
    return asyncio.run(read_for(VirtualClock(), seconds, direct=True))


def under_looptime(seconds: float) -> int:
    loop = looptime.new_event_loop()
    try:
        return loop.run_until_complete(read_for(LoopClock(), seconds))
    finally:
        loop.close()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=600)
    parser.add_argument("--rounds", type=int, default=5)
    options = parser.parse_args()
    rounds = []
    for _ in range(options.rounds):
        ours = timed(lambda: own(options.seconds), options.seconds)
        cores = timed(lambda: core(options.seconds), options.seconds)
        theirs = timed(lambda: under_looptime(options.seconds), options.seconds)
        rounds.append((ours, cores, theirs))
    ours, cores, theirs = (median(column) for column in zip(*rounds, strict=True))
    ratio = median(a / b for a, _, b in rounds)
    core_ratio = median(c / b for _, c, b in rounds)
    print(f"{'simulated seconds per wall second':40} {'median':>10}")
    print(f"{'own virtual clock':40} {ours:10.0f}")
    print(f"{'core of a rehearsal, without bytes':40} {cores:10.0f}")
    print(f"{'same loop under looptime':40} {theirs:10.0f}")
    print(f"{'ratio (bar: at least 10)':40} {ratio:10.1f}")
    print(f"{'core ratio (bar: at least 40)':40} {core_ratio:10.1f}")
    figures = {"own": ours, "core": cores, "looptime": theirs, "ratio": ratio}
    print(json.dumps({**figures, "core_ratio": core_ratio, "bar": 10, "core_bar": 40}))


if __name__ == "__main__":
    main()
