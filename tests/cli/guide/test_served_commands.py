"""The guide's tables of a served bench name every message that its ports take, and no other."""

from __future__ import annotations

import re
from importlib.resources import files

import pytest

from ohmwright.api.bench_data import read_bench
from ohmwright.api.open_bench import simulated_bench
from ohmwright.model.shipped import shipped
from ohmwright.simulator.bench import SimulatedBench
from ohmwright.simulator.bench_ports import control_port
from ohmwright.simulator.scpi_text import headers
from ohmwright.wire.clock import VirtualClock


@pytest.fixture(scope="module")
def bench() -> SimulatedBench:
    return simulated_bench(read_bench(shipped("benches", "demo.toml")), VirtualClock())


def _told(table: str) -> set[str]:
    """Every spelling of the messages in one table of the page."""
    page = files("ohmwright").joinpath("guide/benches.md").read_text(encoding="utf-8")
    rows = page.split(f"| {table} | what it does |\n|---|---|\n")[1].split("\n\n")[0]
    named = re.findall(r"`([*A-Z\[][^` ]+)`", "\n".join(r.split("|")[1] for r in rows.splitlines()))
    return {spelling for name in named for spelling in headers(name)}


@pytest.mark.parametrize("table", ["analyzer", "generator", "control port"])
def test_every_message_of_a_port_is_told(bench: SimulatedBench, table: str) -> None:
    dispatchers = {
        "analyzer": bench._analyzer,
        "generator": bench._generator,
        "control port": control_port(bench).__self__,  # type: ignore[attr-defined]
    }
    told = _told(table) | (set() if table == "control port" else _told("both instruments"))
    assert told == set(dispatchers[table]._handlers)
