"""Benches of invented instruments, as files that name their pseudo-terminals."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import pytest

from .brindle import Brindle
from .osier import Osier
from .plant import Plant
from .port import Port
from .sedge import Sedge
from .tamsin import Tamsin

FILES = Path(__file__).parent / "files"
ANALYZERS: dict[str, Callable[..., Port]] = {
    "tamsin-40": Tamsin,
    "brindle-7": Brindle,
    "sedge-s1": Sedge,
}


@dataclass(frozen=True)
class Table:
    """What stands on the table, and the bench file that says so."""

    plant: Plant
    analyzer: Port
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
            analyzer = ANALYZERS[name](plant, **options)
            devices = [ports.enter_context(port) for port in (analyzer, Osier(plant))]
            bench = tmp_path / f"{name}-bench.toml"
            bench.write_text(_bench(name, *devices), encoding="utf-8")
            return Table(plant, analyzer, bench)

        yield put


def _bench(analyzer: str, analyzer_device: str, generator_device: str) -> str:
    return f"""\
name = "Bench with a {analyzer}"

[analyzer]
data = "{FILES / analyzer}.toml"
link = {{ kind = "serial", port = "{analyzer_device}", baud = 9600 }}

[generator]
data = "{FILES}/osier-90.toml"
link = {{ kind = "serial", port = "{generator_device}", baud = 9600 }}

[asset]
id = "HF-201"
maker = "Withy"
model = "Osier 90"
serial = "O90-512"
"""
