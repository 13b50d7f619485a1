"""The record says whose word a thing is, and what the bench had when it was measured."""

from collections.abc import Callable
from typing import Any

import pytest

from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.engine.run_so_far import results
from ohmwright.model.event import Event, PointDone, RunResumed, RunStarted, TrimsStored
from ohmwright.model.shipped import shipped
from ohmwright.model.step import Stage

pytestmark = pytest.mark.anyio
MONOPOLAR = shipped("procedures", "demo-monopolar.toml")
ATTENDED = shipped("procedures", "attended-marlow.toml")


async def up_to(
    kind: type[Event], rig: Any, stage: Stage, procedure: Any = MONOPOLAR, **job: Any
) -> list[Event]:
    """The events of one stage up to the first of `kind`."""
    events: list[Event] = []
    async for event in run(Job(read_procedure(procedure), (stage,), "test", **job), rig.bench):
        events.append(event)
        if isinstance(event, kind):
            break
    return events


def lacking(rig: Any, *verbs: str) -> Any:
    """The rig with an analyzer whose command set has no message for `verbs`."""
    analyzer = rig.bench.analyzer
    commands = analyzer.dialogue.commands
    fewer = commands.model_copy(
        update={
            "ask": {verb: text for verb, text in commands.ask.items() if verb not in verbs},
            "tell": {verb: text for verb, text in commands.tell.items() if verb not in verbs},
        }
    )
    analyzer.dialogue.commands, analyzer.verbs = fewer, fewer.verbs
    return rig


async def test_a_run_that_goes_on_says_what_protects_it_then(make_rig: Callable[..., Any]) -> None:
    earlier = await up_to(PointDone, make_rig(), "as_found")
    again = await up_to(
        RunResumed, lacking(make_rig(), "remaining"), "as_found", earlier=tuple(earlier)
    )
    started, resumed = earlier[0], again[-1]
    assert isinstance(started, RunStarted)
    assert isinstance(resumed, RunResumed)
    assert started.protections is not None
    assert started.protections.limit_read_back
    assert resumed.protections == started.protections.model_copy(update={"limit_read_back": False})


async def test_trims_that_a_person_stored_are_as_that_person_told(
    make_rig: Callable[..., Any],
) -> None:
    by_hand = make_rig(seed=5, age_months=30, bench="attended", attended=True)
    events = await up_to(TrimsStored, by_hand, "adjust", ATTENDED)
    assert events[-1].told_by == by_hand.bench.operator.name  # type: ignore[union-attr]
    by_port = make_rig(attended=True)  # someone is there, and still the port stores
    events = await up_to(TrimsStored, by_port, "adjust")
    assert isinstance(events[-1], TrimsStored)
    assert events[-1].told_by is None


@pytest.mark.parametrize("sets_path", [True, False])
async def test_a_path_that_a_person_joined_is_as_that_person_told(
    make_rig: Callable[..., Any], sets_path: bool
) -> None:
    rig = make_rig(attended=True)
    assert rig.bench.analyzer.data.has_paths
    if not sets_path:
        lacking(rig, "set_path")
    events = await up_to(PointDone, rig, "as_found")
    (result,) = results(events)
    assert result.path == "OUTPUT"
    assert result.path_told_by == (None if sets_path else rig.bench.operator.name)
