"""Points of sweeps that were handed out: whoever leaves them early has them ended in time.

A loop over points that is left by `break` drops them, and asyncio ends them in a task of its own,
some time later. The lines of a bench may be closed only after that.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator
from contextlib import aclosing
from weakref import WeakSet

from .curve import CurvePoint

CurvePoints = AsyncGenerator[CurvePoint, None]


class HandedOutPoints:
    """The points of a bench that were asked for and have not come to their end."""

    def __init__(self) -> None:
        self._held = WeakSet[CurvePoints]()
        self._begun = set[asyncio.Event]()

    def follow(self, points: CurvePoints) -> CurvePoints:
        """Return `points`, whose end `end_all` waits for once they are begun."""
        followed = self._followed(points)
        self._held.add(followed)
        return followed

    async def _followed(self, points: CurvePoints) -> CurvePoints:
        ended = asyncio.Event()
        self._begun.add(ended)
        try:
            async with aclosing(points):
                async for point in points:
                    yield point
        finally:
            self._begun.discard(ended)
            ended.set()

    async def end_all(self) -> None:
        """End what was left early, with that on record; what another task waits for is left."""
        for points in tuple(self._held):
            try:
                await points.aclose()
            except RuntimeError:  # it runs: that task hears of the closed lines
                return
        for ended in tuple(self._begun):
            await ended.wait()
