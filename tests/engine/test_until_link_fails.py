"""Work ends early when the line behind it fails, and leaves nobody watching."""

from collections.abc import Awaitable, Callable

import anyio
import pytest

from ohmwright.engine.until_link_fails import done_before_link_failure

pytestmark = pytest.mark.anyio


class Line:
    """Fails when told to."""

    def __init__(self) -> None:
        self.failed, self.watched = anyio.Event(), 0

    async def until_failed(self) -> None:
        self.watched += 1
        try:
            await self.failed.wait()
        finally:
            self.watched -= 1


async def a_while() -> None:
    for _ in range(3):
        await anyio.lowlevel.checkpoint()


async def test_work_that_ends_by_itself() -> None:
    line = Line()
    assert await done_before_link_failure(a_while, line.until_failed)
    assert line.watched == 0


async def test_work_that_is_cut_short() -> None:
    line = Line()

    async def work() -> None:
        await a_while()
        assert line.watched == 1
        line.failed.set()
        await anyio.sleep_forever()

    with anyio.fail_after(60):
        assert not await done_before_link_failure(work, line.until_failed)
    assert line.watched == 0


def failing(error: BaseException) -> Callable[[], Awaitable[None]]:
    async def work() -> None:
        await a_while()
        raise error

    return work


async def test_what_the_work_raises_is_raised_as_it_is() -> None:
    line = Line()
    with pytest.raises(EOFError):
        await done_before_link_failure(failing(EOFError()), line.until_failed)
    assert line.watched == 0


async def test_a_cancellation_from_outside_is_heard() -> None:
    line = Line()
    with anyio.CancelScope() as scope:
        scope.cancel()
        await done_before_link_failure(anyio.sleep_forever, line.until_failed)
        pytest.fail("it was not heard")
    assert line.watched == 0
