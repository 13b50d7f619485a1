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
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from random import Random
from statistics import median
from typing import Any

from row import Row

LIMIT_S, AGE_S, READING_S = 6.0, 3.0, 0.1
SILENCE_S = 1.7
"""What the guard of this bench allows: a query's time-out, two readings, half a second."""
AFTER_NOTICE_S = 0.1
HANG_S = 30.0
IN_THE_PROOF = 0.15
EACH, EACH_REDUCED = 75, 2
LINES = ("tcp", "pty")
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
from ohmwright.simulator.serve_pty import serve_ptys
from ohmwright.simulator.serve_tcp import serve_tcp
from ohmwright.wire.clock import RealClock
bench = SimulatedBench(
    load(shipped("analyzers", "gantry-400.toml"), AnalyzerProfile),
    load(shipped("generators", "quillon-300.toml"), GeneratorProfile),
    seed=5, clock=RealClock(),
)
def announce(addresses):
    print(addresses.analyzer.port, addresses.generator.port, addresses.control.port, flush=True)
async def serve():
    async with anyio.create_task_group() as tasks:
        tasks.start_soon(serve_tcp, bench, announce)
        await anyio.sleep(0.2)
        tasks.start_soon(serve_ptys, bench, announce)
anyio.run(serve)
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
def bench(folder: Path, line: str) -> Iterator[tuple[Path, Truth]]:
    """A bench in another process, reached over `line`: its bench file and its truth."""
    with subprocess.Popen([sys.executable, "-c", SERVER], stdout=subprocess.PIPE) as server:
        try:
            assert server.stdout is not None
            tcp, pty = (server.stdout.readline().decode().split() for _ in range(2))
            kind, (analyzer, generator) = {
                "tcp": ("tcp", tcp[:2]),
                "pty": ("serial", [f'"{port}"' for port in pty[:2]]),
            }[line]
            control = int(tcp[2])
            file = folder / "bench.toml"
            file.write_text(
                'name = "faults"\n[analyzer]\ndata = "gantry-400"\n'
                f'link = {{ kind = "{kind}", port = {analyzer} }}\n'
                '[generator]\ndata = "quillon-300"\n'
                f'link = {{ kind = "{kind}", port = {generator} }}\n'
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
        if not _activation_begun(truth, in_the_proof=random.random() < IN_THE_PROOF):
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


def _activation_begun(truth: Truth, *, in_the_proof: bool) -> bool:
    """Wait for RF: the second of it that proves the limit, or the measurement that follows."""
    if not truth.wait(True, HANG_S):
        return False
    return in_the_proof or (truth.wait(False, HANG_S) and truth.wait(True, HANG_S))


def _children(pid: int) -> list[int]:
    listed = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    return [int(child) for child in listed]


def bound_s(way: str) -> float:
    """Longest that RF may stay on: after the kill, or for a guard killed too, altogether."""
    if way.endswith("guard"):
        return LIMIT_S + READING_S
    return AFTER_NOTICE_S + (SILENCE_S if way == "STOP" else 0.0)


@dataclass(frozen=True)
class Kill:
    """One engine killed, and what came of it."""

    way: str
    number: int
    after_s: float | None
    """From the signal to RF off (from ON, where the guard was killed too); None: left on."""
    code: int | None
    hang: bool

    @property
    def left_on(self) -> bool:
        """Whether RF outlived its bound."""
        return self.after_s is None or self.after_s > bound_s(self.way)

    @property
    def silent(self) -> bool:
        """A run stopped in good order says so: 4, or 3 where the guard tripped."""
        return not self.hang and WAYS[self.way][0] != KILL and self.code not in (3, 4)


def rows(seed: int, reduced: bool, *, jobs: int = 1, mutate: str = "") -> Iterator[Row]:
    """One row for each way of dying; each of `jobs` benches is in a process of its own."""
    each = EACH_REDUCED if reduced else EACH
    trials = [(way, number) for number in range(each) for way in WAYS]
    with ThreadPoolExecutor(jobs) as threads:
        shares = [
            threads.submit(_share, trials[job::jobs], LINES[job % 2], seed, mutate)
            for job in range(jobs)
        ]
        kills = [kill for share in shares for kill in share.result()]
    for way in WAYS:
        yield _row([kill for kill in kills if kill.way == way], way, seed)


def replay(spec: str, mutate: str = "") -> dict[str, Any]:
    """One kill again, over both lines."""
    way, _, at = spec.partition(":")
    seed, _, number = at.partition(":")
    kills = [
        kill for line in LINES for kill in _share([(way, int(number))], line, int(seed), mutate)
    ]
    return {
        "left_on": any(kill.left_on for kill in kills),
        "wrong": False,
        "undetected": any(kill.silent for kill in kills),
        "hang": any(kill.hang for kill in kills),
        "how": [str(kill) for kill in kills],
    }


def _share(trials: list[tuple[str, int]], line: str, seed: int, mutate: str) -> list[Kill]:
    """The trials of one bench, one after the other."""
    with tempfile.TemporaryDirectory() as name, bench(Path(name), line) as (file, truth):
        kills = []
        for way, number in trials:
            random = Random(f"{seed} {way} {number}")
            found = killed(Path(name), file, truth, way, random, mutate)
            kills.append(Kill(way, number, *found))
            truth.wait(False, LIMIT_S + 1)
        return kills


def _row(kills: list[Kill], way: str, seed: int) -> Row:
    times = [1000 * kill.after_s for kill in kills if kill.after_s is not None]
    bad = [kill for kill in kills if kill.left_on or kill.silent or kill.hang]
    note = f"RF off {median(times):.1f} ms median, {max(times):.1f} ms worst" if times else ""
    what = "since ON" if way.endswith("guard") else "after the signal"
    return Row(
        f"engine killed: {way}",
        len(kills),
        sum(kill.left_on for kill in kills),
        0,
        sum(kill.silent for kill in kills),
        sum(kill.hang for kill in kills),
        f"{note} {what}, bound {1000 * bound_s(way):.0f} ms",
        tuple(
            f"python scripts/faults --replay 'kills/{way}:{seed}:{k.number}'  # {k}" for k in bad
        ),
    )
