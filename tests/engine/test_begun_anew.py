"""A point that is begun anew, once a person has found why nothing showed."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from dataclasses import replace

import pytest

from ohmwright.engine import doubt
from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.requests_on_record import missing_requests
from ohmwright.engine.rf_on_record import misfit_results
from ohmwright.engine.run import run
from ohmwright.engine.run_so_far import results
from ohmwright.instruments.doubt_requests import LookForCause
from ohmwright.instruments.requests import EnterService, Request
from ohmwright.model.event import ActivationClosed, Event, TrimsStored
from ohmwright.model.shipped import shipped

pytestmark = pytest.mark.anyio
MOST_RF_S = 112.0
"""RF time of a point, by the policy's parameters."""


@pytest.fixture
def rig(make_rig: Callable):
    return make_rig(seed=6, age_months=30, bench="attended", attended=True)


async def adjusted_from_another_point(rig, found_after: int) -> AsyncIterator[Event]:
    """The events of P1's adjustment; the unit is at P2 until the person was asked so often why."""
    panel, say, asked = rig.hardware.panel, rig.bench.operator.reply, list[Request]()

    async def reply(request: Request, problem: str) -> str:
        asked.append(request)
        said = await say(request, problem)
        if isinstance(request, EnterService):
            times = sum(isinstance(each, LookForCause) for each in asked)
            panel.point("P2" if times < found_after else "P1")
        return "again" if isinstance(request, LookForCause) else said

    rig.bench.operator.reply = reply
    file = read_procedure(shipped("procedures", "attended-marlow.toml"))
    steps = tuple(step for step in file.procedure.step if step.name == "adjust-p1")
    file = replace(file, procedure=file.procedure.model_copy(update={"step": steps}))
    async for event in run(Job(file, ("adjust",), "test"), rig.bench):
        yield event


async def test_rf_at_a_wrong_point_is_not_held_against_the_right_one(rig) -> None:
    """It left 49 s of 112, and the unit's readings were blamed for what was not confirmed."""
    events = [event async for event in adjusted_from_another_point(rig, 1)]
    (result,) = results(events)
    assert (result.verdict, result.reason) == ("pass", "")
    assert list(missing_requests(events)) == list(misfit_results(events)) == []


@pytest.mark.parametrize("seed", [5, 6, 7])
async def test_presses_at_a_wrong_point_are_not_saved_with_the_right_one(
    make_rig: Callable, seed: int
) -> None:
    """They had not shown, and so were not put back: P2 was saved up to 133 counts off."""
    rig = make_rig(seed=seed, age_months=30, bench="attended", attended=True)
    before = dict(rig.hardware.truth.trims)
    events = [event async for event in adjusted_from_another_point(rig, 1)]
    assert any(isinstance(event, TrimsStored) for event in events)
    after = dict(rig.hardware.truth.trims)
    assert after.pop("P1") != before.pop("P1")
    assert after == before


async def test_rf_of_all_starts_together_is_bounded(rig, monkeypatch: pytest.MonkeyPatch) -> None:
    """Would notice a whole budget for each start, however many there are."""
    monkeypatch.setattr(doubt, "_NO_EFFECT_AT_MOST", 99)
    events = [event async for event in adjusted_from_another_point(rig, 99)]
    on_s = sum(event.on_s for event in events if isinstance(event, ActivationClosed))
    (result,) = results(events)
    assert result.verdict == "not measured"
    assert result.reason.endswith("s of RF; the cause was not found")
    assert on_s < 2 * MOST_RF_S
