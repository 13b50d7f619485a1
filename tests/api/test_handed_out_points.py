"""Points that were handed out are ended, and nobody waits for those that another task waits for."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator

import anyio
import pytest

from ohmwright.api.curve import CurvePoint
from ohmwright.api.handed_out_points import HandedOutPoints

pytestmark = pytest.mark.anyio


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


async def test_what_another_task_waits_for_holds_up_no_end() -> None:
    """Would notice lines that stay open, and a program that hangs, while nothing comes."""

    async def never() -> AsyncGenerator[CurvePoint, None]:
        await anyio.sleep_forever()
        yield CurvePoint.__new__(CurvePoint)

    handed_out = HandedOutPoints()
    waiting = asyncio.ensure_future(anext(handed_out.follow(never())))
    await asyncio.sleep(0)
    with anyio.fail_after(1):
        await handed_out.end_all()
    waiting.cancel()
    with pytest.raises(asyncio.CancelledError):
        await waiting
