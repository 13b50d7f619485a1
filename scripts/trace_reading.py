"""The modules of ohmwright that one reading crosses on its way from port to result.

Runs one verification point on the simulated demo bench, unattended, in virtual time, and follows
the last current reading taken before OFF. Counted is every module of `ohmwright`
- that waits for its bytes: the functions on the stack from the link up to the loop that samples;
- of which a function runs from then on until the stop rule has decided on that reading;
- of which a function runs from the settled value to the uncertainty and the verdict, and from the
  question whether it is in doubt to the point's result (PointDone).

That is the way of this reading: bytes, reply, reading, sample, estimate, decision to stop, settled
value, uncertainty, verdict, result.

Not counted are
- the end of the activation in between: OFF and its confirmation, which takes readings of its own,
  the account of warmth and duty, events handed out, and what is shown meanwhile;
- the simulator's modules, which stand for hardware behind the port;
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

from ohmwright.api.bench_data import read_bench
from ohmwright.api.open_bench import assemble_bench, simulated_bench
from ohmwright.engine import point_measurement, sampling, undoubted
from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.engine.session import Session
from ohmwright.engine.stop_rules import UntilDecided
from ohmwright.instruments.absent_operator import AbsentOperator
from ohmwright.model.event import PointDone
from ohmwright.model.shipped import shipped
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.links.memory import MemoryLink

MOST = 35
"""A stranger who follows one reading should not have to open more files."""
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
_LOOP = sampling.__file__
_DECIDED = UntilDecided.read.__code__
_VALUE = point_measurement.observation_of.__code__
_DOUBT = undoubted.doubt_in.__code__
_RESULT = Session.point_done.__code__


class Way:
    """Modules on the way of one reading, in the order of each one's first call, with calls."""

    def __init__(self, waiting: FrameType | None) -> None:
        """`waiting`: the frame that has just received the bytes."""
        self.modules: dict[str, int] = {}
        self._names: dict[CodeType, str | None] = {}
        self._on_the_way = True
        while waiting is not None and waiting.f_code.co_filename != _LOOP:
            self._count(waiting.f_code)
            waiting = waiting.f_back

    def note(self, frame: FrameType, event: str, value: object) -> None:
        """Count a call; a profile function as `sys.setprofile` takes it."""
        code = frame.f_code
        if event == "call":
            self._on_the_way = self._on_the_way or code in (_VALUE, _DOUBT)
            if self._on_the_way:
                self._count(code)
        elif event == "return" and (
            code in (_VALUE, _RESULT) or (code is _DECIDED and value is True)
        ):
            self._on_the_way = False

    def _count(self, code: CodeType) -> None:
        if code not in self._names:
            self._names[code] = _module_of(code)
        name = self._names[code]
        if name is not None:
            self.modules[name] = self.modules.get(name, 0) + 1


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
        self.way = Way(None)
        self._on, self._keyed, self._asked = on, False, b""
        self._last = b""

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
            if data != self._last:  # the same once more is the second of two that must agree
                self.way = Way(sys._getframe())
                sys.setprofile(self.way.note)
            self._last = data
        return data


async def trace() -> Way:
    """The way of one reading of one verification point."""
    data = read_bench(shipped("benches", "demo.toml"))
    clock = VirtualClock()
    hardware = simulated_bench(data, clock)
    analyzer = TracedLink(hardware.analyzer_port, clock, b"OUTPut:STATe ON")
    generator = MemoryLink("simulated generator", hardware.generator_port, clock)
    bench = assemble_bench(data, clock, analyzer, generator, AbsentOperator())
    with TemporaryDirectory() as folder:
        path = Path(folder) / "one-point.toml"
        path.write_text(PROCEDURE, encoding="utf-8")
        procedure = read_procedure(path)
    async with aclosing(
        run(Job(procedure, ("as_found",), "trace"), bench, lambda _: None)
    ) as events:
        try:
            async for event in events:
                if isinstance(event, PointDone):
                    return analyzer.way
        finally:
            sys.setprofile(None)
    raise RuntimeError("the run has ended without a result")


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the modules; 1 where there are more than the bar."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--most", type=int, default=MOST)
    most = parser.parse_args(arguments).most
    modules = asyncio.run(trace()).modules
    for number, (module, count) in enumerate(modules.items(), start=1):
        print(f"{number:3}  {module:36} {count:6}")
    print(f"{len(modules)} modules; the bar is {most}.")
    return 0 if len(modules) <= most else 1


if __name__ == "__main__":
    sys.exit(main())
