"""A bench of its own for one kill after another: simulator, engines forked on demand, records.

Both processes outlive the kills. What a kill costs is a fork, a guard started for real, and the
seconds that the activation lasts.
"""

from __future__ import annotations

import json
import os
import select
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

LIMIT_S, AGE_S, READING_S = 5.0, 3.0, 0.1
HANG_S = 120.0
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
tolerance = {{ percent = 50 }}
"""
BENCH = """\
name = "faults"
[analyzer]
data = "gantry-400"
link = { kind = "KIND", port = ANALYZER }
[generator]
data = "quillon-300"
link = { kind = "KIND", port = GENERATOR }
[asset]
id = "F-1"
maker = "Tessenhove"
model = "Quillon 300"
serial = "1"
[simulation]
seed = 5
"""
SERVER = """
import json, sys
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
    ports = [addresses.analyzer.port, addresses.generator.port, addresses.control.port]
    print(json.dumps(ports), flush=True)
anyio.run(serve_tcp if sys.argv[1] == "tcp" else serve_ptys, bench, announce)
"""
ENGINES = "scripts.faults.kill_engines"


class Truth:
    """The control port of the simulated bench."""

    def __init__(self, port: int | str) -> None:
        self._file: Any = (
            Path(port).open("r+b", buffering=0)  # noqa: SIM115 - as long as the bench lives
            if isinstance(port, str)
            else socket.create_connection(("127.0.0.1", port)).makefile("rwb")
        )

    def ask(self, query: str) -> str:
        """One query's reply."""
        self._file.write(query.encode() + b"\n")
        self._file.flush()
        return str(self._file.readline().decode().strip())

    def on(self) -> bool:
        """Whether RF is on."""
        return self.ask("SIM:TRUT:RF?") == "1"

    def last_interval(self) -> tuple[float, float]:
        """When RF last went on, and off."""
        times = self.ask("SIM:TRUT:RF:INT?").split(",")
        return float(times[-2]), float(times[-1])

    def begun(self) -> int:
        """How many activations there have been."""
        return len(self.ask("SIM:TRUT:RF:INT?").split(",")) // 2

    def wait_begun(self, count: int, within_s: float) -> bool:
        """Whether the `count`-th activation began in time."""
        end_s = time.monotonic() + within_s
        while time.monotonic() < end_s:
            if self.begun() >= count:
                return True
            time.sleep(0.05)
        return False

    def wait(self, on: bool, within_s: float) -> bool:
        """Whether RF came to be as wanted in time."""
        end_s = time.monotonic() + within_s
        while time.monotonic() < end_s:
            if self.on() == on:
                return True
            time.sleep(0.05)
        return False


class Engines:
    """Forks an engine a command, off a process that has imported everything once."""

    def __init__(self, folder: Path, mutate: str) -> None:
        self._said = folder / "said.txt"
        environment = {**os.environ}
        for name in ("STATE", "CONFIG", "DATA"):
            environment[f"XDG_{name}_HOME"] = str(folder / name.lower())
        self._zygote = subprocess.Popen(
            [sys.executable, "-m", ENGINES, str(self._said), mutate],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env=environment,
            bufsize=0,
        )
        self.pid = 0

    def ready(self) -> None:
        """Wait until it has imported everything: that must not hold up another bench's kill."""
        assert self._zygote.stdout is not None
        self._zygote.stdout.readline()

    def start(self, *command: str) -> int:
        """The process number of a new engine, which leads a process group of its own."""
        assert self._zygote.stdin is not None
        assert self._zygote.stdout is not None
        self._zygote.stdin.write(json.dumps(command).encode() + b"\n")
        self.pid = int(self._zygote.stdout.readline())
        return self.pid

    def ended(self) -> int | None:
        """Its exit code (minus a signal's number); None where it hung and had to be killed."""
        assert self._zygote.stdout is not None
        hung = not select.select([self._zygote.stdout], [], [], HANG_S)[0]
        if hung:
            os.kill(self.pid, signal.SIGKILL)
        code = int(self._zygote.stdout.readline())
        return None if hung else code

    def run(self, *command: str) -> int | None:
        """The exit code of one command."""
        self.start(*command)
        return self.ended()

    def said(self) -> str:
        """What the last one said on both of its outputs."""
        return self._said.read_text()

    def close(self) -> None:
        """End the process that forks."""
        self._zygote.kill()
        self._zygote.communicate()


class KillBench:
    """Where one engine at a time is killed."""

    def __init__(self, folder: Path, truth: Truth, engines: Engines) -> None:
        self.truth, self.engines = truth, engines
        self._records = ("--records", str(folder / "records"))
        self._run = (str(folder / "short.toml"), "--bench", str(folder / "bench.toml"))

    def start(self) -> int:
        """Begin a run; its process number."""
        return self.engines.start("verify", *self._run, *self._records, "--unattended")

    def closed(self, code: int) -> int | None:
        """0 where the newest run ends in the fault that exit code `code` means, and verifies."""
        return self.engines.run("closed", self._records[1], str(code))

    def last_on_s(self) -> float | None:
        """How long the newest run's record says that its last activation was; None without one."""
        self.engines.run("on_s", self._records[1])
        said = self.engines.said().strip()
        return float(said) if said else None

    def fault(self) -> str:
        """The error that the newest run ended in; empty where it came to its end."""
        self.engines.run("fault", self._records[1])
        return self.engines.said().strip()

    def resumed(self) -> int | None:
        """The exit code of the newest run resumed."""
        self.engines.run("newest", self._records[1])
        run_id = self.engines.said().strip()
        command = ("verify", *self._run, *self._records, "--unattended", "--resume", run_id)
        return self.engines.run(*command)


@contextmanager
def kill_bench(folder: Path, kind: str, mutate: str) -> Iterator[KillBench]:
    """A bench on `tcp` or `pty` while it lasts."""
    folder.mkdir()
    command = [sys.executable, "-c", SERVER, kind]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as server:
        try:
            assert server.stdout is not None
            analyzer, generator, control = json.loads(server.stdout.readline())
            text = BENCH.replace("KIND", "tcp" if kind == "tcp" else "serial")
            text = text.replace("ANALYZER", json.dumps(analyzer))
            text = text.replace("GENERATOR", json.dumps(generator))
            (folder / "bench.toml").write_text(text)
            (folder / "short.toml").write_text(PROCEDURE)
            engines = Engines(folder, mutate)
            try:
                yield KillBench(folder, Truth(control), engines)
            finally:
                engines.close()
        finally:
            server.kill()
