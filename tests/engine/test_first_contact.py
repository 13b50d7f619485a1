"""What a person says of RF at first contact and after a stop, where the meter is read by eye."""

from collections.abc import Iterable
from contextlib import aclosing
from dataclasses import replace
from pathlib import Path

import pytest

from ohmwright.api.recorded_events import recorded_events
from ohmwright.api.run_view import RunWatch
from ohmwright.engine.first_contact_on_record import unseen_beginnings
from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.instruments.hand_requests import SHOWN_WITH_RF_OFF, ConnectLoad, TypeReading
from ohmwright.instruments.requests import Request
from ohmwright.model.errors import OutOfCapability, ReleaseNotConfirmed
from ohmwright.model.event import (
    Asked,
    DocumentKept,
    Event,
    Fault,
    RunResumed,
    RunStarted,
    StageStarted,
)
from ohmwright.records.audit import audit
from ohmwright.records.run_lists import runs
from ohmwright.records.sql_store import open_store

from .test_by_hand import ALL, Person, make
from .test_by_hand import verify as verify

pytestmark = pytest.mark.anyio


def asked_with_rf_off(events: Iterable[Event]) -> list[Event]:
    return [e for e in events if isinstance(e, Asked) and e.question == SHOWN_WITH_RF_OFF]


async def test_a_run_begins_with_its_start_then_what_was_asked_before(
    verify: Path, tmp_path: Path
) -> None:
    """So its row in the store names the unit, whoever was asked whether RF is off."""
    rig, job = make(ALL), Job(read_procedure(verify), ("as_left",), "hand")
    with open_store(str(tmp_path / "records"), tmp_path / "key", tmp_path / "seen") as store:
        async with aclosing(recorded_events(job, rig.bench, store, RunWatch())) as events:
            async for event in events:
                if isinstance(event, StageStarted):
                    break
        assert list(audit(store)) == []
        (row,) = runs(store.database)
        assert (row["asset"], row["operator"]) == (rig.bench.unit.id, rig.person.name)
        earlier = store.events("hand")
    resumed = [event async for event in run(replace(job, earlier=earlier), rig.bench)]
    for part in (earlier, resumed):
        assert isinstance(part[0], RunStarted | RunResumed)
        after = next(e for e in part[1:] if not isinstance(e, DocumentKept))
        assert after is asked_with_rf_off(part)[0]
        assert [e.at for e in part] == sorted(e.at for e in part)
    whole = [*earlier, *resumed]
    assert list(unseen_beginnings(whole)) == []
    for part in (earlier, resumed):
        left = [event for event in whole if event is not asked_with_rf_off(part)[0]]
        ((_, said),) = unseen_beginnings(left)
        assert said == "RF was off before the work began, and no such answer is on record"


class Stopper(Person):
    """Stops when the load is to be set, a minute after RF was told as off; then they may go."""

    name = "Örsay Ü."
    stays = False

    async def reply(self, request: Request, problem: str) -> str:
        if isinstance(request, ConnectLoad):
            await self._clock.sleep(60.0)
            return "stop"
        if isinstance(request, TypeReading) and self._clock.now_s() > 60.0 and not self.stays:
            raise OutOfCapability("The terminal is closed.")
        return await super().reply(request, problem)


@pytest.mark.parametrize("stays", [False, True])
async def test_what_a_stop_leaves_of_rf_is_what_was_said_after_it(
    verify: Path, stays: bool
) -> None:
    rig = make(("load", "reading"), person=Stopper)
    rig.person.stays = stays
    if stays:
        await rig.run(verify)
    else:
        with pytest.raises(ReleaseNotConfirmed, match="RF MAY STILL BE ON: nobody has said"):
            await rig.run(verify)
    fault = rig.events[-1]
    assert isinstance(fault, Fault)
    assert fault.rf_state == ("off" if stays else "unknown")
    if stays:
        assert fault.message == "The run was stopped by Örsay Ü."
