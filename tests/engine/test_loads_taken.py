"""A load that the analyzer has not is found before RF, not half-way through a run."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.model.errors import InstrumentRefused
from ohmwright.model.event import Event, Fault
from ohmwright.model.shipped import shipped

pytestmark = pytest.mark.anyio
_STEP = """
[[step]]
kind = "power_curve"
name = "curve"
mode = "cut"
setting_w = 100
loads_ohm = [500, 333]
power_w = [100, 100]
tolerance = { percent = 15 }
"""


async def _run(rig: Any, procedure: Path, seen: list[Event]) -> None:
    async for event in run(Job(read_procedure(procedure), ("as_found",), "test"), rig.bench):
        seen.append(event)


async def test_a_load_that_its_data_wrongly_lists_costs_no_activation(
    make_rig: Callable[..., Any], tmp_path: Path
) -> None:
    rig = make_rig(attended=True)
    data = rig.bench.analyzer.data
    bank = data.load_bank.model_copy(update={"loads_ohm": (*data.load_bank.loads_ohm, 333.0)})
    rig.bench.analyzer.data = data.model_copy(update={"load_bank": bank})
    whole = shipped("procedures", "demo-monopolar.toml").read_text(encoding="utf-8")
    procedure = tmp_path / "procedure.toml"
    procedure.write_text(whole.partition("[[step]]")[0] + _STEP, encoding="utf-8")

    events = list[Event]()
    with pytest.raises(InstrumentRefused) as refused:
        await _run(rig, procedure, events)
    assert rig.hardware.truth.rf_on_intervals == ()
    assert [type(event) for event in events] == [Fault]
    line = 1 + procedure.read_text(encoding="utf-8").splitlines().index("loads_ohm = [500, 333]")
    problem = refused.value
    assert problem.happened.startswith(
        f"{procedure}:{line}:1: step 'curve' needs 333 ohm, and the analyzer did not take it: "
    )
    assert problem.means == "Nothing was switched on."
