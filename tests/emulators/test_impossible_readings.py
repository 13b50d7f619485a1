"""A reading that no meter can have: asked for once more, told, and no more than once in a row."""

from __future__ import annotations

from collections.abc import Callable
from itertools import count
from pathlib import Path

import pytest

from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.engine.run_so_far import results
from ohmwright.model.errors import InstrumentRefused, ProtocolError
from ohmwright.model.event import Commented, Event

from .conftest import FILES, VirtualTable, virtual_table

pytestmark = pytest.mark.anyio
CHECK = FILES / "osier-90-check.toml"
SLOW_S = 10 / 9600
"""A character at 9600 baud."""


def _without_point(said: bytes) -> bytes:
    """A reply that lost its decimal point, and 0 of what follows, whole in its frame."""
    text = said.partition(b"*")[0].replace(b".", b"0000")
    return text + b"*%02X\r\n" % (sum(text) % 256)


def _spoil(table: VirtualTable, spoiled: Callable[[int], bool], later_s: float = 0.0) -> None:
    """Spoil the readings with RF on for whose number from 0 `spoiled` holds."""
    numbers = count()

    def reply(said: bytes) -> list[tuple[float, bytes]]:
        is_reading = said.startswith(b"I=") and table.plant.is_on
        return [(later_s, _without_point(said) if is_reading and spoiled(next(numbers)) else said)]

    table.analyzer_line.spoil_reply = reply


async def _run(table: VirtualTable) -> list[Event]:
    job = Job(read_procedure(CHECK), ("as_found",), "emulated")
    return [event async for event in run(job, table.bench)]


async def test_one_impossible_reading_is_asked_again_and_on_record(tmp_path: Path) -> None:
    table = virtual_table("brindle-7", tmp_path, SLOW_S)
    _spoil(table, lambda number: number == 0)
    events = await _run(table)
    (remark,) = (event.words for event in events if isinstance(event, Commented))
    assert " mA, and its meter ends at 2000 mA; that was not used. Asked once more" in remark
    assert "e+" not in remark  # the figure as it came
    values = [sample.current_ma for one in results(events) for sample in one.samples]
    assert values
    assert max(values) < 2000


async def test_two_impossible_readings_in_a_row_end_the_run_with_rf_off(tmp_path: Path) -> None:
    table = virtual_table("brindle-7", tmp_path, SLOW_S)
    _spoil(table, lambda number: number < 2)
    with pytest.raises(ProtocolError, match=r"reads \d{7,} mA, and its meter ends at 2000 mA"):
        await _run(table)
    assert not table.plant.is_on


async def test_a_refusal_is_no_damaged_reading(tmp_path: Path) -> None:
    """It is asked for once more, opened anew; refused again, it ends the run."""
    table = virtual_table("brindle-7", tmp_path, SLOW_S)
    refused: list[bytes] = []

    def reply(said: bytes) -> list[tuple[float, bytes]]:
        if said.startswith(b"I=") and table.plant.is_on and len(refused) < 2:
            refused.append(said)
            return [(0.0, b"ERR 2*%02X\r\n" % (sum(b"ERR 2") % 256))]
        return [(0.0, said)]

    table.analyzer_line.spoil_reply = reply
    with pytest.raises(InstrumentRefused, match="refused 'I\\?"):
        await _run(table)
    assert len(refused) == 2
    assert not table.plant.is_on


@pytest.mark.parametrize("later_s", [0.0, 0.1])
async def test_the_time_of_asking_again_counts(tmp_path: Path, later_s: float) -> None:
    """Every other reading is impossible and answers are slow: each activation ends in its time."""
    table = virtual_table("brindle-7", tmp_path, SLOW_S)
    table.plant.noise = 0.2  # so that readings are never enough
    _spoil(table, lambda number: number % 2 == 0, later_s)
    events = await _run(table)
    assert not table.plant.is_on
    asked_for_s = 12
    assert 10 < max(to_s - from_s for from_s, to_s in table.plant.log) < asked_for_s - 0.3
    assert sum(isinstance(event, Commented) for event in events) > 10
