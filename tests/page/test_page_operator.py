"""An answer on the page is to the request that it names, and to none that could not be read."""

import anyio
import pytest

from ohmwright.api.run_view import RunWatch
from ohmwright.instruments.requests import SelectMode
from ohmwright.model.errors import UsageError
from ohmwright.page.operator import READING_TIME_S, PageOperator
from ohmwright.wire.clock import VirtualClock


@pytest.mark.anyio
async def test_an_answer_to_another_request_is_none() -> None:
    clock = VirtualClock()
    operator = PageOperator(RunWatch(), clock, "Ada Fell", clock.now_s)
    said = list[str]()

    async def ask() -> None:
        said.append(await operator.reply(SelectMode("cut", 100), ""))

    for number in (1, 2):
        async with anyio.create_task_group() as tasks:
            tasks.start_soon(ask)
            await anyio.wait_all_tasks_blocked()
            with pytest.raises(UsageError, match="before it could be read"):
                operator.say(number, "done")
            clock.advance(2 * READING_TIME_S)
            for other in (number - 1, number + 1):
                with pytest.raises(UsageError, match="not open any more"):
                    operator.say(other, "done")
            operator.say(number, f"done {number}")
            with pytest.raises(UsageError, match="not open any more"):
                operator.say(number, "stop")  # before the first answer was taken
    assert said == ["done 1", "done 2"]
