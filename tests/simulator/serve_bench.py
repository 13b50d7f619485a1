"""A bench served by a process of its own: `serve_bench.py pty|tcp stepped|real [FAULT [links]]`."""

import sys
from contextlib import suppress
from functools import partial
from pathlib import Path

import anyio

from ohmwright.model.shipped import shipped
from ohmwright.model.source import load
from ohmwright.simulator.bench_ports import PortAddresses
from ohmwright.simulator.faults import LineFault
from ohmwright.simulator.faulty_bench import FaultyBench
from ohmwright.simulator.profile import AnalyzerProfile, GeneratorProfile
from ohmwright.simulator.serve_pty import serve_ptys
from ohmwright.simulator.serve_tcp import serve_tcp
from ohmwright.wire.clock import RealClock, VirtualClock


def announce(addresses: PortAddresses) -> None:
    for _, address in addresses.named():
        print(address, flush=True)


def main(line: str, time: str, fault: str = "", links: str = "") -> None:
    bench = FaultyBench(
        load(shipped("analyzers", "gantry-400.toml"), AnalyzerProfile),
        load(shipped("generators", "quillon-300.toml"), GeneratorProfile),
        seed=5,
        clock=VirtualClock() if time == "stepped" else RealClock(),
        faults=[LineFault.parse(fault)] if fault else [],
    )
    folder = Path(links) if links else None
    serve = serve_tcp if line == "tcp" else partial(serve_ptys, link_dir=folder)
    with suppress(KeyboardInterrupt):
        anyio.run(serve, bench, announce)


if __name__ == "__main__":
    main(*sys.argv[1:])
