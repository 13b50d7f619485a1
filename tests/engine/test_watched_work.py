"""Work ends early when what is watched beside it says so, and leaves nobody watching."""

from collections.abc import Awaitable, Callable

import anyio
import pytest

from ohmwright.engine.watched_work import done_while_watched

pytestmark = pytest.mark.anyio


class Line:
    """Fails when told to, or answers."""

    def __init__(self) -> None:
        self.failed, self.watched, self.answered = anyio.Event(), 0, False

    async def until_failed(self) -> None:
        self.watched += 1
        try:
            await self.failed.wait()
        finally:
            self.watched -= 1

    async def answering(self) -> None:
        """Answers a question that is not to be cut off, then watches without end."""
        with anyio.CancelScope(shield=True):
            await anyio.sleep(0.05)
            self.answered = True
        await anyio.sleep_forever()


async def a_while() -> None:
    for _ in range(3):
        await anyio.lowlevel.checkpoint()


async def test_work_that_ends_by_itself() -> None:
    line = Line()
    assert await done_while_watched(a_while, line.until_failed)
    assert line.watched == 0


async def test_work_that_is_cut_short() -> None:
    line = Line()

    async def work() -> None:
        await a_while()
        assert line.watched == 1
        line.failed.set()
        await anyio.sleep_forever()

    with anyio.fail_after(60):
        assert not await done_while_watched(work, line.until_failed)
    assert line.watched == 0


def failing(error: BaseException) -> Callable[[], Awaitable[None]]:
    async def work() -> None:
        await a_while()
        raise error

    return work


async def test_what_the_work_raises_is_raised_as_it_is() -> None:
    line = Line()
    with pytest.raises(EOFError):
        await done_while_watched(failing(EOFError()), line.until_failed)
    assert line.watched == 0


async def test_a_cancellation_from_outside_is_heard() -> None:
    line = Line()
    with anyio.CancelScope() as scope:
        scope.cancel()
        await done_while_watched(anyio.sleep_forever, line.until_failed)
        pytest.fail("it was not heard")
    assert line.watched == 0


async def test_what_the_watch_raises_ends_the_work_and_is_raised() -> None:
    async def watch() -> None:
        await a_while()
        raise ValueError("far too much")

    with anyio.fail_after(60), pytest.raises(ValueError, match="far too much"):
        await done_while_watched(anyio.sleep_forever, watch)


async def test_what_the_watch_raises_is_heard_though_the_work_raises_too() -> None:
    """A person skips the step while the reading under way shows far too much current."""

    async def watch() -> None:
        with anyio.CancelScope(shield=True):
            await anyio.sleep(0.05)
            raise ValueError("far too much")

    with anyio.fail_after(60), pytest.raises(ValueError, match="far too much"):
        await done_while_watched(failing(EOFError()), watch)


async def test_a_question_of_the_watch_is_answered_before_the_work_is_done() -> None:
    """Cut off, it would leave the line out of step for whoever speaks next."""
    line = Line()
    assert await done_while_watched(a_while, line.answering)
    assert line.answered


async def test_so_is_one_where_all_is_cancelled_from_outside() -> None:
    line = Line()
    with anyio.CancelScope() as scope:

        async def work() -> None:
            await a_while()
            scope.cancel()
            await anyio.sleep_forever()

        await done_while_watched(work, line.answering)
    assert line.answered
