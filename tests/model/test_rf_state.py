"""A sentence about RF says what was read, and by whom."""

from datetime import UTC, datetime
from functools import partial

import anyio
import pytest

from ohmwright.model.rf_state import BenchMemory, RfTracker, at_bench, latest

AT = datetime(2026, 5, 4, 8, 30, 15, tzinfo=UTC)


@pytest.mark.parametrize(
    ("as_told", "said"),
    [
        (False, "RF was last read back as off, at 08:30:15 UTC by the bench's clock."),
        (True, "RF was last said by a person to be off, at 08:30:15 UTC by the bench's clock."),
    ],
)
def test_a_person_told_nothing_to_be_off_they_said_so(as_told: bool, said: str) -> None:
    state = RfTracker()
    state.set_on()
    state.set_off(AT, as_told=as_told)
    assert state.text() == said


def test_what_is_about_to_be_sent_may_be_on() -> None:
    state = RfTracker()
    assert state.text() == "RF was never switched on by this program."
    state.set_off(AT)
    state.set_unknown()
    assert "MAY STILL BE ON" in state.text()


@pytest.mark.asyncio
async def test_each_bench_has_its_own_latest_state_over_all_its_runs() -> None:
    first, second = BenchMemory(), BenchMemory()

    async def run(memory: BenchMemory, *, ends_off: bool | None) -> None:
        at_bench(memory)
        if ends_off is not None:  # else nothing was read before it ended
            state = RfTracker()
            state.set_on()
            if ends_off:
                state.set_off(AT)
        seen.append(latest().may_be_on)

    seen: list[bool] = []
    courses = ((first, False), (second, None), (second, True), (first, None), (first, True))
    for memory, ends_off in courses:
        async with anyio.create_task_group() as tasks:
            tasks.start_soon(partial(run, memory, ends_off=ends_off))
    assert seen == [True, False, False, True, False]
