"""Whole jobs on invented instruments in virtual time, and what a slow line does to readings."""

from __future__ import annotations

import math
import random
from pathlib import Path

import pytest

from ohmwright.cli.doctor_checks import findings_with_rf_off
from ohmwright.engine.job import Job
from ohmwright.engine.pending_events import PendingEvents
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.engine.run_so_far import results
from ohmwright.engine.unasked_rf import ensure_off_at_start
from ohmwright.instruments.conformance_generator import GENERATOR_CHECKS
from ohmwright.model.errors import InstrumentRefused, LinkTimeout
from ohmwright.model.hardware import AnalyzerData
from ohmwright.model.result import Measured, Result
from ohmwright.model.step import STAGES

from .conftest import ANALYZERS, FILES, VirtualTable, virtual_table
from .larch import Larch

pytestmark = pytest.mark.anyio
OUTPUT = """\
title = "One output"
revision = "1"
model = "Osier 90"

[defaults]
age_s = 6
rest_s = 10
max_on_s = 30

[[step]]
kind = "output"
name = "cut-rated"
mode = "cut"
setting_w = 50
load_ohm = 300
power_w = 50
tolerance = { percent = 3 }
"""
SLOW_S = 10 / 9600
"""A character at 9600 baud."""


async def _verdicts(table: VirtualTable, procedure: Path) -> dict[tuple[str, str], str]:
    job = Job(read_procedure(procedure), STAGES, "emulated")
    found = results([event async for event in run(job, table.bench)])
    return {(result.stage, result.step): result.verdict for result in found}


@pytest.mark.parametrize("name", ANALYZERS)
async def test_a_unit_is_calibrated(name: str, tmp_path: Path) -> None:
    table = virtual_table(name, tmp_path, SLOW_S if name == "brindle-7" else 0.0)
    await _see_calibrated(table, FILES / "osier-90-check.toml")
    assert getattr(table.analyzer, "too_early", 0) == 0, "its pauses were not kept"


async def test_a_unit_that_ends_replies_by_a_prompt_is_calibrated(tmp_path: Path) -> None:
    table = virtual_table("tamsin-40", tmp_path, unit="quern-60")
    for check in GENERATOR_CHECKS:
        seen = await check(table.bench.generator)
        assert seen.state == "good", seen
    await _see_calibrated(table, FILES / "quern-60-check.toml")


async def _see_calibrated(table: VirtualTable, procedure: Path) -> None:
    verdicts = await _verdicts(table, procedure)
    assert verdicts["as_found", "cut-rated"] == "fail"
    assert verdicts["as_left", "cut-rated"] == "pass"
    assert table.plant.settled_ma == pytest.approx(408, rel=0.02)
    assert not table.plant.is_on


async def _output(table: VirtualTable, tmp_path: Path) -> Result:
    procedure = tmp_path / "output.toml"
    procedure.write_text(OUTPUT, encoding="utf-8")
    job = Job(read_procedure(procedure), ("as_found",), "emulated")
    return next(iter(results([event async for event in run(job, table.bench)])))


async def test_a_slow_line_and_a_fast_one_give_the_same_value(tmp_path: Path) -> None:
    slow = virtual_table("brindle-7", tmp_path, SLOW_S, interval_s=1.0)
    slow.bench.analyzer.data = _at_1_hz(slow.bench.analyzer.data)
    fast = virtual_table("tamsin-40", tmp_path)
    found = []
    for table, interval_s in ((slow, 1.0), (fast, 0.2)):
        table.plant.lag_s, table.plant.error = 3.0, 0.0
        result = await _output(table, tmp_path)
        rising = [sample for sample in result.samples if sample.age_s < 2 * table.plant.lag_s]
        assert len(rising) > 3  # later, noise is larger than the rise
        for age_s, current_ma in rising:
            left = 1 - current_ma / table.plant.settled_ma
            noise_s = 4 * table.plant.noise * table.plant.lag_s / left
            true_s = -table.plant.lag_s * math.log(left)
            assert age_s == pytest.approx(true_s, abs=0.55 * interval_s + noise_s)
        assert result.measured is not None
        found.append(result.measured)
    one, other = found
    u = math.hypot(*(_type_a(measured) for measured in found))
    assert u < 0.012 * other.value
    assert abs(one.value - other.value) < 2 * u
    true_w = (slow.plant.settled_ma / 1000) ** 2 * 300
    assert one.value == pytest.approx(true_w, abs=2 * u)


def _type_a(measured: Measured) -> float:
    """The standard uncertainty of a value from its readings alone."""
    return math.hypot(
        *(line.standard_uncertainty for line in measured.budget if line.evaluation == "A")
    )


def _at_1_hz(data: AnalyzerData) -> AnalyzerData:
    return data.model_copy(update={"meter": data.meter.model_copy(update={"readings_per_s": 1.0})})


@pytest.mark.parametrize("name", ["sedge-s1", "tamsin-40"])
@pytest.mark.parametrize("lag_s", [0.01, 0.15])
async def test_a_unit_that_is_quicker_than_its_analyzer_is_calibrated(
    name: str, lag_s: float, tmp_path: Path
) -> None:
    """Its output is up at the first reading, or before ON is answered, and moves act at once."""
    for seed in (1002, 1006, 1007, 1013):
        table = virtual_table(name, tmp_path)
        table.plant.draws, table.plant.lag_s = random.Random(seed), lag_s
        await _see_calibrated(table, FILES / "osier-90-check.toml")


def _slow(name: str, tmp_path: Path, later_s: float) -> VirtualTable:
    """A table whose analyzer answers `later_s` late, and rightly."""
    table = virtual_table(name, tmp_path)
    table.analyzer_line.spoil_reply = lambda data: [(later_s, data)]
    return table


@pytest.mark.parametrize("later_s", [0.3, 0.5])
async def test_an_analyzer_too_slow_for_its_answer_to_off_is_refused_before_rf(
    tmp_path: Path, later_s: float
) -> None:
    table = _slow("brindle-7", tmp_path, later_s)  # its timeout_s is 1.0
    with pytest.raises(LinkTimeout, match=rf"takes {later_s:g}\d* s to answer, too long") as told:
        await _verdicts(table, FILES / "osier-90-check.toml")
    assert "terminator" not in str(told.value)
    assert table.plant.log == []


async def test_doctor_tells_a_slow_analyzer_from_a_wrong_line_end(tmp_path: Path) -> None:
    with pytest.raises(LinkTimeout, match=r"takes 0\.4\d* s to answer, too long") as told:
        async for _ in findings_with_rf_off(_slow("brindle-7", tmp_path, 0.4).bench):
            pass
    assert told.value.exit_code == 3
    assert "terminator" not in str(told.value)
    ends_otherwise = virtual_table("brindle-7", tmp_path)
    ends_otherwise.analyzer_line.spoil_reply = lambda data: [(0.0, data.replace(b"\n", b""))]
    with pytest.raises(LinkTimeout, match=r"within 1 s: only .* came") as told:
        async for _ in findings_with_rf_off(ends_otherwise.bench):
            pass
    assert r"The reply ended in \r" in str(told.value)


async def test_the_output_is_armed_once_before_each_on(tmp_path: Path) -> None:
    table = virtual_table("larch-a2", tmp_path)
    await _output(table, tmp_path)
    assert isinstance(table.analyzer, Larch)
    heard = [word for word in table.analyzer.heard if word in ("ARM", "FIRE", "STOP")]
    assert "FIRE" in heard
    assert heard.count("ARM") == heard.count("FIRE")
    assert all(heard[at - 1] == "ARM" for at, word in enumerate(heard) if word == "FIRE")


async def test_an_output_that_was_not_armed_is_no_activation(tmp_path: Path) -> None:
    table = virtual_table("larch-a2", tmp_path, forgets=True)
    with pytest.raises(InstrumentRefused, match="NOT ARMED"):
        await _output(table, tmp_path)
    assert table.plant.log == []


async def test_an_analyzer_just_quick_enough_for_off_is_not_refused(tmp_path: Path) -> None:
    table = _slow("brindle-7", tmp_path, 0.15)
    await ensure_off_at_start(table.bench, PendingEvents())
