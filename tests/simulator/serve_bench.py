"""A bench served by a process of its own: `python serve_bench.py pty|tcp stepped|real [links]`."""

import sys
from contextlib import suppress
from functools import partial
from pathlib import Path

import anyio

from ohmwright.model.shipped import shipped
from ohmwright.model.source import load
from ohmwright.simulator.bench import SimulatedBench
from ohmwright.simulator.profile import AnalyzerProfile, GeneratorProfile
from ohmwright.simulator.serve_pty import serve_ptys
from ohmwright.simulator.serve_tcp import serve_tcp
from ohmwright.simulator.served import Addresses
from ohmwright.wire.clock import RealClock, VirtualClock


def announce(addresses: Addresses) -> None:
    for _, address in addresses.named():
        print(address, flush=True)


def main(line: str, time: str, *links: str) -> None:
    bench = SimulatedBench(
        load(shipped("analyzers", "gantry-400.toml"), AnalyzerProfile),
        load(shipped("generators", "quillon-300.toml"), GeneratorProfile),
        seed=5,
        clock=VirtualClock() if time == "stepped" else RealClock(),
    )
    serve = serve_tcp if line == "tcp" else partial(serve_ptys, link_dir=_folder(links))
    with suppress(KeyboardInterrupt):
        anyio.run(serve, bench, announce)


def _folder(links: tuple[str, ...]) -> Path | None:
    return Path(links[0]) if links else None


if __name__ == "__main__":
    main(*sys.argv[1:])
