"""The engine killed at random instants of an activation, on a simulated bench in another process.

The bench runs in real time and its control port tells the truth; its clock and ours are the
machine's monotonic one, so the time from the kill to RF off is exact.
"""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from random import Random
from statistics import median
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))
from row import Row

LIMIT_S, AGE_S, READING_S = 6.0, 3.0, 0.1
SILENCE_S = 1.7
"""What the guard of this bench allows: a query's time-out, two readings, half a second."""
AFTER_NOTICE_S = 0.1
HANG_S = 30.0
PROCEDURE = f"""\
title = "Short"
revision = "1"
model = "Quillon 300"
[defaults]
age_s = {AGE_S}
rest_s = 0
max_on_s = {LIMIT_S}
[[step]]
kind = "output"
name = "one"
mode = "cut"
setting_w = 50
load_ohm = 500
power_w = 50
tolerance = {{ percent = 20 }}
"""
SERVER = """
import anyio
from ohmwright.model.shipped import shipped
from ohmwright.model.source import load
from ohmwright.simulator.bench import SimulatedBench
from ohmwright.simulator.profile import AnalyzerProfile, GeneratorProfile
from ohmwright.simulator.serve_tcp import serve_tcp
from ohmwright.wire.clock import RealClock
bench = SimulatedBench(
    load(shipped("analyzers", "gantry-400.toml"), AnalyzerProfile),
    load(shipped("generators", "quillon-300.toml"), GeneratorProfile),
    seed=5, clock=RealClock(),
)
def announce(addresses):
    print(addresses.analyzer.port, addresses.generator.port, addresses.control.port, flush=True)
anyio.run(serve_tcp, bench, announce)
"""
ENGINE = "from ohmwright.cli.main import main; main()"
WITHOUT_GUARD = """
from ohmwright.wire.guard.process import Guard
Guard.release = lambda self: True  # mutation: a guard that does nothing
from ohmwright.wire.guard import process
process.main()
"""
UNGUARDED_ENGINE = f"""
import subprocess, sys
started = subprocess.Popen
class Popen(started):
    def __init__(self, command, *rest, **options):
        if "ohmwright.wire.guard.process" in command:
            command = [sys.executable, "-c", {WITHOUT_GUARD!r}]
        super().__init__(command, *rest, **options)
subprocess.Popen = Popen
{ENGINE}
"""

Signals = tuple[signal.Signals, ...]
INT, TERM, HUP, KILL, STOP = (
    signal.SIGINT,
    signal.SIGTERM,
    signal.SIGHUP,
    signal.SIGKILL,
    signal.SIGSTOP,
)
WAYS: dict[str, Signals] = {
    "INT": (INT,),
    "INT x2": (INT, INT),
    "TERM": (TERM,),
    "HUP": (HUP,),
    "KILL": (KILL,),
    "STOP": (STOP,),
    "KILL with guard": (KILL,),
}


class Truth:
    """The control port of the simulated bench."""

    def __init__(self, port: int) -> None:
        self._file = socket.create_connection(("127.0.0.1", port)).makefile("rwb")

    def ask(self, query: str) -> str:
        self._file.write(query.encode() + b"\n")
        self._file.flush()
        return self._file.readline().decode().strip()

    def on(self) -> bool:
        return self.ask("SIM:TRUT:RF?") == "1"

    def last_interval(self) -> tuple[float, float]:
        times = self.ask("SIM:TRUT:RF:INT?").split(",")
        return float(times[-2]), float(times[-1])

    def wait(self, on: bool, within_s: float) -> bool:
        end_s = time.monotonic() + within_s
        while time.monotonic() < end_s:
            if self.on() == on:
                return True
            time.sleep(0.005)
        return False


@contextmanager
def bench(folder: Path) -> Iterator[tuple[Path, Truth]]:
    """A bench in another process: its bench file and its truth."""
    with subprocess.Popen([sys.executable, "-c", SERVER], stdout=subprocess.PIPE) as server:
        try:
            assert server.stdout is not None
            analyzer, generator, control = map(int, server.stdout.readline().split())
            file = folder / "bench.toml"
            file.write_text(
                'name = "faults"\n[analyzer]\ndata = "gantry-400"\n'
                f'link = {{ kind = "tcp", port = {analyzer} }}\n'
                '[generator]\ndata = "quillon-300"\n'
                f'link = {{ kind = "tcp", port = {generator} }}\n'
                '[asset]\nid = "F-1"\nmaker = "Tallowmere"\nmodel = "Quillon 300"\nserial = "1"\n'
                "[simulation]\nseed = 5\n"
            )
            (folder / "short.toml").write_text(PROCEDURE)
            yield file, Truth(control)
        finally:
            server.kill()


def killed(folder: Path, file: Path, truth: Truth, way: str, random: Random, mutate: str) -> Any:
    """Kill one run; how long after it RF went off (None: left on), the exit code, a hang."""
    code = UNGUARDED_ENGINE if mutate == "guard" else ENGINE
    command = [sys.executable, "-c", code, "verify", str(folder / "short.toml"), "--bench"]
    command += [str(file), "--records", str(folder / "records"), "--unattended", "--json"]
    environment = {**os.environ, "XDG_STATE_HOME": str(folder)}
    engine = subprocess.Popen(
        command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        if not truth.wait(True, HANG_S):
            return None, None, True
        time.sleep(random.uniform(0, AGE_S - 0.5))
        guards = _children(engine.pid) if way.endswith("guard") else []
        at_s = time.monotonic()
        for number in WAYS[way]:
            engine.send_signal(number)
        for guard in guards:
            os.kill(guard, KILL)
        off = truth.wait(False, LIMIT_S + 2)
        start_s, off_s = truth.last_interval()
        after_s = (off_s - start_s) if guards else (off_s - at_s)
        if STOP in WAYS[way]:
            engine.send_signal(signal.SIGCONT)
        try:
            ended = engine.wait(HANG_S)
        except subprocess.TimeoutExpired:
            return (after_s if off else None), None, True
        return (after_s if off else None), ended, False
    finally:
        if engine.poll() is None:
            engine.kill()
            engine.wait()


def _children(pid: int) -> list[int]:
    listed = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    return [int(child) for child in listed]


def bound_s(way: str) -> float:
    """Longest that RF may stay on: after the kill, or for a guard killed too, altogether."""
    if way.endswith("guard"):
        return LIMIT_S + READING_S
    return AFTER_NOTICE_S + (SILENCE_S if way == "STOP" else 0.0)


def rows(seed: int, reduced: bool, *, jobs: int = 1, mutate: str = "") -> Iterator[Row]:
    """One row for each way of dying."""
    each = 3 if reduced else 85
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        file, truth = stack.enter_context(bench(folder))
        for way in WAYS:
            yield _row(folder, file, truth, way, seed, each, mutate)


def _row(
    folder: Path, file: Path, truth: Truth, way: str, seed: int, each: int, mutate: str
) -> Row:
    left_on = undetected = hangs = 0
    times, replays = [], []
    for number in range(each):
        random = Random(f"{seed} {way} {number}")
        after_s, code, hang = killed(folder, file, truth, way, random, mutate)
        late = after_s is None or after_s > bound_s(way)
        # a run that was stopped in good order says so: 4, or 3 where the guard tripped
        silent = not hang and way not in ("KILL", "KILL with guard") and code not in (3, 4)
        left_on, hangs, undetected = left_on + late, hangs + hang, undetected + silent
        if after_s is not None:
            times.append(1000 * after_s)
        if late or hang or silent:
            replays.append(f"python scripts/faults --only kills --seed {seed}  # {way} {number}")
        truth.wait(False, LIMIT_S + 1)
    note = f"RF off {median(times):.1f} ms median, {max(times):.1f} ms worst" if times else ""
    what = "since ON" if way.endswith("guard") else "after the signal"
    return Row(
        f"engine killed: {way}",
        each,
        left_on,
        0,
        undetected,
        hangs,
        f"{note} {what}, bound {1000 * bound_s(way):.0f} ms",
        tuple(replays),
    )


if __name__ == "__main__":
    for row in rows(
        int(sys.argv[1]),
        reduced="--full" not in sys.argv,
        mutate="guard" if "--mutate" in sys.argv else "",
    ):
        print(row, flush=True)
