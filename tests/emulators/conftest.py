"""Benches of invented instruments, as files that name their pseudo-terminals."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from ohmwright.api.bench_data import read_bench
from ohmwright.api.open_bench import assemble_bench
from ohmwright.instruments.absent_operator import AbsentOperator
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.operator import Operator
from ohmwright.wire.clock import VirtualClock

from .brindle import Brindle
from .cotter import Cotter
from .larch import Larch
from .osier import Osier
from .plant import Plant
from .port import Port
from .quern import Quern
from .sedge import Sedge
from .tamsin import Tamsin
from .world import VirtualLine, World

FILES = Path(__file__).parent / "files"
ANALYZERS: dict[str, Callable[..., Port]] = {
    "tamsin-40": Tamsin,
    "brindle-7": Brindle,
    "sedge-s1": Sedge,
    "larch-a2": Larch,
}
BARE: dict[str, Callable[..., Port]] = {"cotter-2": Cotter}
"""What proves nothing of its line."""
GENERATORS: dict[str, Callable[[Plant], Port]] = {"osier-90": Osier, "quern-60": Quern}
LABELS = {"osier-90": ("Withy", "Osier 90", "O90-512"), "quern-60": ("Fallow", "Quern 60", "00712")}
"""Maker, model and serial number of each generator."""


@dataclass(frozen=True)
class Table:
    """What stands on the table, and the bench file that says so."""

    plant: Plant
    analyzer: Port
    generator: Osier
    bench: Path


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@pytest.fixture
def on_table(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., Table]]:
    """Puts an analyzer and an Osier 90 on the table, each on a port of its own."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    with ExitStack() as ports:

        def put(name: str, **options: object) -> Table:
            plant = Plant()
            analyzer, generator = ANALYZERS[name](plant, **options), Osier(plant)
            devices = [ports.enter_context(port) for port in (analyzer, generator)]
            bench = tmp_path / f"{name}-{Path(devices[0]).name}.toml"
            bench.write_text(_bench(name, *devices), encoding="utf-8")
            return Table(plant, analyzer, generator, bench)

        yield put


def _bench(
    analyzer: str, analyzer_device: str, generator_device: str, generator: str = "osier-90"
) -> str:
    maker, model, serial = LABELS[generator]
    return f"""\
name = "Bench with a {analyzer}"

[analyzer]
data = "{FILES / analyzer}.toml"
link = {{ kind = "serial", port = "{analyzer_device}", baud = 9600 }}

[generator]
data = "{FILES}/{generator}.toml"
link = {{ kind = "serial", port = "{generator_device}", baud = 9600 }}

[asset]
id = "HF-201"
maker = "{maker}"
model = "{model}"
serial = "{serial}"
"""


@dataclass
class VirtualTable:
    """A bench of invented instruments in virtual time."""

    plant: Plant
    bench: Bench
    analyzer_line: VirtualLine
    generator_line: VirtualLine
    analyzer: Port


def virtual_table(
    name: str,
    tmp_path: Path,
    character_s: float = 0.0,
    person: Operator | None = None,
    unit: str = "osier-90",
    **options: Any,
) -> VirtualTable:
    """An analyzer called `name` and a generator `unit`, with lines of the given speed.

    `person`: who stands by; None for nobody.
    """
    clock = VirtualClock()
    world = World(clock)
    plant = Plant(now_s=world.now_s)
    analyzer, generator = {**ANALYZERS, **BARE}[name](plant, **options), GENERATORS[unit](plant)
    file = tmp_path / f"{name}-bench.toml"
    file.write_text(_bench(name, "none", "none", unit), encoding="utf-8")
    data = read_bench(file)
    line, generator_line = VirtualLine(world, analyzer, character_s), VirtualLine(world, generator)
    person = person or AbsentOperator()
    bench = assemble_bench(data, clock, line, generator_line, person)
    return VirtualTable(plant, bench, line, generator_line, analyzer)
