"""The modules of ohmwright that one reading crosses on its way from port to result.

Runs one verification point on the simulated demo bench, unattended, in virtual time. Counted is
every module of `ohmwright` of which a function runs between the moment the analyzer's link returns
the bytes of the last current reading taken before OFF, and the moment the point's result
(PointDone) is handed out. That is the way of this reading: bytes, reply, reading, sample, estimate,
decision to stop, uncertainty, verdict, result.

Not counted are
- the simulator's modules, which stand for hardware behind the port;
- what runs within the release of the output (`confirmed_release` in engine/release.py): it sends
  OFF and takes readings of its own, which are no part of the result. Modules that run nowhere else
  are listed apart;
- imports, and methods that dataclasses, named tuples and pydantic generate.

A module counts once; the figure beside it is how many calls (resumptions of a coroutine included)
of its functions were seen.

    scripts/trace_reading [--most 35]

Prints the modules in the order of their first call; exit code 1 where there are more than `--most`.
"""

from __future__ import annotations

import argparse
import asyncio
import sys
from collections.abc import Callable, Sequence
from contextlib import aclosing
from pathlib import Path
from tempfile import TemporaryDirectory
from types import CodeType, FrameType

from ohmwright.cli.bench_data import read_bench
from ohmwright.cli.open_bench import assembled, simulated_bench
from ohmwright.engine import release
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import Job, run
from ohmwright.instruments.absent_operator import AbsentOperator
from ohmwright.model.event import PointDone
from ohmwright.model.shipped import shipped
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.links.memory import MemoryLink

MOST = 35
"""The bar: a stranger who follows one reading should not have to open more files."""
PROCEDURE = """
title = "One point"
revision = "1"
model = "Quillon 300"

[[step]]
kind = "output"
name = "cut-half"
mode = "cut"
setting_w = 150
load_ohm = 500
power_w = 150
tolerance = { percent = 6 }
"""
_PACKAGE = Path(sys.modules["ohmwright"].__file__ or "").parent
_SIMULATOR = "simulator."
# the second one has a task of its own, so the first is not below it on the stack
_RELEASE = (release.confirmed_release.__code__, release._bounded_release.__code__)


class Calls:
    """Calls of our functions by module, in the order of each module's first call."""

    def __init__(self) -> None:
        self.of_reading: dict[str, int] = {}
        self.of_release: dict[str, int] = {}
        self._names: dict[CodeType, str | None] = {}

    def note(self, frame: FrameType, event: str, _: object) -> None:
        """Count a call; a profile function as `sys.setprofile` takes it."""
        if event != "call":
            return
        code = frame.f_code
        if code not in self._names:
            self._names[code] = _module_of(code)
        name = self._names[code]
        if name is not None:
            by_module = self.of_release if _within_release(frame) else self.of_reading
            by_module[name] = by_module.get(name, 0) + 1


def _within_release(frame: FrameType | None) -> bool:
    while frame is not None:
        if frame.f_code in _RELEASE:
            return True
        frame = frame.f_back
    return False


def _module_of(code: CodeType) -> str | None:
    """Name of the module below `ohmwright` that `code` is a function of; None for any other."""
    path = Path(code.co_filename)
    if code.co_name == "<module>" or not path.is_relative_to(_PACKAGE):
        return None
    name = ".".join(path.relative_to(_PACKAGE).with_suffix("").parts)
    return None if name.startswith(_SIMULATOR) else name


class TracedLink(MemoryLink):
    """A line that begins the count anew with each current reading while the output is keyed."""

    def __init__(self, handle: Callable[[bytes], bytes], clock: VirtualClock, on: bytes) -> None:
        super().__init__("simulated analyzer", handle, clock)
        self.calls = Calls()
        self._on, self._keyed, self._asked = on, False, b""

    async def write(self, data: bytes) -> None:
        """Send `data`; after ON readings count, and after OFF no more."""
        self._asked = data
        if b"OUTPut:STATe O" in data:
            self._keyed = self._on in data
        await super().write(data)

    async def read(self, timeout_s: float) -> bytes:
        """What has come; a current reading begins the count anew."""
        data = await super().read(timeout_s)
        if self._keyed and self._asked.startswith(b"FETCh:CURRent?"):
            self.calls = Calls()
            sys.setprofile(self.calls.note)
        return data


async def trace() -> Calls:
    """The calls that one reading of one verification point leads to."""
    data = read_bench(shipped("benches", "demo.toml"))
    clock = VirtualClock()
    hardware = simulated_bench(data, clock)
    analyzer = TracedLink(hardware.analyzer_port, clock, b"OUTPut:STATe ON")
    generator = MemoryLink("simulated generator", hardware.generator_port, clock)
    bench = assembled(data, clock, analyzer, generator, AbsentOperator())
    with TemporaryDirectory() as folder:
        path = Path(folder) / "one-point.toml"
        path.write_text(PROCEDURE, encoding="utf-8")
        procedure = read_procedure(path)
    async with aclosing(run(Job(procedure, ("as_found",), "trace"), bench)) as events:
        try:
            async for event in events:
                if isinstance(event, PointDone):
                    return analyzer.calls
        finally:
            sys.setprofile(None)
    raise RuntimeError("the run has ended without a result")


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the modules; 1 where there are more than the bar."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--most", type=int, default=MOST)
    most = parser.parse_args(arguments).most
    calls = asyncio.run(trace())
    for number, (module, count) in enumerate(calls.of_reading.items(), start=1):
        print(f"{number:3}  {module:36} {count:6}")
    apart = [module for module in calls.of_release if module not in calls.of_reading]
    print(f"Of the release alone, not counted: {', '.join(apart)}.")
    print(f"{len(calls.of_reading)} modules; the bar is {most}.")
    return 0 if len(calls.of_reading) <= most else 1


if __name__ == "__main__":
    sys.exit(main())
