"""A run that goes on at a unit without a port: another one may stand on the bench by then."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.model.event import Asked, Fault, PointDone, RunFinished

from .test_evidence import one_cut_output

pytestmark = pytest.mark.anyio
POINT = "setting_w = 100\nload_ohm = 500\npower_w = 100\ntolerance = { percent = 20 }\n"


@pytest.mark.parametrize("answer", ["yes", "no"])
async def test_a_person_says_whether_the_unit_of_the_morning_is_still_there(
    make_rig: Callable[..., Any], tmp_path: Path, answer: str
) -> None:
    rig = make_rig(seed=5, age_months=30, bench="attended", attended=True)
    file = read_procedure(one_cut_output(tmp_path, POINT))
    morning = [event async for event in run(Job(file, ("as_left",), "test"), rig.bench)]
    morning = morning[: [isinstance(event, PointDone) for event in morning].index(True)]
    assert [e for e in morning if isinstance(e, Asked) and "goes on with" in e.question] == []
    on_before = len(rig.hardware.truth.rf_on_intervals)
    ask, said = rig.bench.operator.reply, iter(("skip later", "back", answer))

    async def reply(request: Any, problem: str) -> str:
        return next(said) if "goes on with" in request.text else str(await ask(request, problem))

    rig.bench.operator.reply = reply
    job = Job(file, ("as_left",), "test", earlier=tuple(morning))
    events = [event async for event in run(job, rig.bench)]
    told = [e for e in events if isinstance(e, Asked) and "goes on with" in e.question]
    assert [e.answer for e in told] == [answer]  # it is asked until it is answered
    asked = told[-1]
    assert "HF-031, Sorrelworks Marlow 150" in asked.question
    assert "TM1-00372" not in asked.question  # whoever looks at the plate is not told the number
    rf_was_on = len(rig.hardware.truth.rf_on_intervals) > on_before
    assert rf_was_on is (answer == "yes")
    assert isinstance(events[-1], RunFinished if answer == "yes" else Fault)
