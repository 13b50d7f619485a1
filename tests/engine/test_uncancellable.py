"""Work that nobody can cancel, and the cancellation that comes after it."""

import asyncio

import anyio
import pytest

from ohmwright.engine.uncancellable import uncancellable

pytestmark = pytest.mark.anyio


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@pytest.mark.parametrize("times", [1, 2])
async def test_a_cancellation_is_raised_once_the_work_is_done(times: int) -> None:
    """Would notice a run that goes on although its task was cancelled while RF was released."""
    done = list[str]()
    may_end = anyio.Event()

    async def work() -> None:
        await may_end.wait()
        done.append("work")

    async def job() -> None:
        await uncancellable(work)
        done.append("what came after")

    task = asyncio.ensure_future(job())
    await asyncio.sleep(0)
    for _ in range(times):
        task.cancel()
        await asyncio.sleep(0)
    may_end.set()
    with pytest.raises(asyncio.CancelledError):
        await task
    assert done == ["work"]
