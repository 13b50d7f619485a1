"""An inspection whose verdict is not that of the answer on record contradicts the record."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import pytest

from ohmwright.engine.inspections_on_record import differing_inspections
from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.model.event import Asked, Event
from ohmwright.model.shipped import shipped

pytestmark = pytest.mark.anyio


@pytest.fixture
async def inspected(make_rig: Callable) -> Sequence[Event]:
    rig = make_rig(seed=5, bench="attended", attended=True)
    file = read_procedure(shipped("procedures", "attended-marlow.toml"))
    steps = tuple(
        step for step in file.procedure.step if step.kind in ("inspection", "instruction")
    )
    file = replace(file, procedure=file.procedure.model_copy(update={"step": steps}))
    return [event async for event in run(Job(file, ("as_found",), "test"), rig.bench)]


def is_yes(event: Event) -> bool:
    return isinstance(event, Asked) and event.answer == "yes"


async def test_an_answer_that_was_changed_or_left_out_is_named(inspected: Sequence[Event]) -> None:
    asked = sum(map(is_yes, inspected))
    assert asked > 0
    assert list(differing_inspections(inspected)) == []
    no = [e.model_copy(update={"answer": "no"}) if is_yes(e) else e for e in inspected]
    changed = [said for _, said in differing_inspections(no)]
    assert len(changed) == asked
    assert all("the answer was no" in said for said in changed)
    missing = [said for _, said in differing_inspections([e for e in inspected if not is_yes(e)])]
    assert len(missing) == asked
    assert all("no answer is on record" in said for said in missing)
