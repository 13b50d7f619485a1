"""Calls of a back end's methods: in a thread, in bounded time, each failure an error of a line."""

from __future__ import annotations

import asyncio
import threading
import traceback
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import TypeVar

import anyio

from ohmwright.model.errors import LinkError, LinkTimeout, ProtocolError

from .line import InstrumentLine

T = TypeVar("T")
_DO = "Update or mend the back end; who wrote it is named in its package."


class Calls:
    """Calls methods of one back end, one at a time.

    A method that takes too long is given up: its thread is left to itself without the line, and
    the next method is called in another. So OFF can always be tried.
    """

    def __init__(self, name: str, line: InstrumentLine | None, within_s: float) -> None:
        self.name = name
        self.line, self.within_s = line, within_s

    async def call(
        self,
        verb: str,
        method: Callable[..., T],
        *arguments: object,
        within_s: float | None = None,
    ) -> T:
        """What `method` returns, within `within_s` seconds in place of its usual time.

        Raises LinkTimeout where it takes too long, the LinkError that it raises, and ProtocolError
        for whatever else it raises; LinkLost where the guard of the line does not answer either.
        """
        try:
            return await self._called(verb, method, *arguments, within_s=within_s or self.within_s)
        except LinkTimeout:
            if self.line is not None:
                await self.line.check_guard()
            raise

    async def _called(
        self, verb: str, method: Callable[..., T], *arguments: object, within_s: float
    ) -> T:
        if self.line is not None:
            await self.line.settle()
        whole = False
        try:
            with anyio.fail_after(within_s):
                result = await self._in_thread(method, *arguments)
            whole = True
            return result
        except TimeoutError:
            raise self._too_slow(verb, within_s) from None
        except _RaisedError as failure:
            raise self.nonsense(verb, str(failure)) from None
        finally:
            if self.line is not None and not whole:
                await self.line.take_back()

    def _too_slow(self, verb: str, within_s: float) -> LinkTimeout:
        """The error for a method that was given up, by what it waited for."""
        happened = f"Back end '{self.name}' did not finish '{verb}' within {within_s:.3g} s"
        awaited = "" if self.line is None else self.line.awaited
        if awaited:
            return LinkTimeout(
                f"{happened}: it waited for {awaited}.",
                "No value was taken from it.",
                "Check power, cable, port and address, then the message in the back end.",
            )
        return LinkTimeout(f"{happened}.", "No value was taken from it.", _DO)

    def nonsense(self, verb: str, why: str) -> ProtocolError:
        """The error for a method that failed, or returned what makes no sense."""
        return ProtocolError(
            f"Back end '{self.name}' failed at '{verb}': {why[:300]}.",
            "No value was taken from it.",
            _DO,
        )

    async def _in_thread(self, method: Callable[..., T], *arguments: object) -> T:
        loop = asyncio.get_running_loop()
        outcome: asyncio.Future[T] = loop.create_future()

        def work() -> None:
            ending: Callable[[], None]
            try:
                ending = partial(outcome.set_result, method(*arguments))
            except LinkError as problem:
                ending = partial(outcome.set_exception, problem)
            except BaseException as problem:  # an exit of its own must not end a thread unheard
                ending = partial(outcome.set_exception, _RaisedError(_said(problem)))
            with suppress(RuntimeError):  # the loop is closed: nobody waits any more
                loop.call_soon_threadsafe(lambda: None if outcome.done() else ending())

        thread = threading.Thread(target=work, name=f"back end {self.name}", daemon=True)
        if self.line is not None:
            self.line.hand_to(thread)
        thread.start()
        return await outcome


class _RaisedError(Exception):
    """What a back end raised that is no error of a line, in words."""


def _said(problem: BaseException) -> str:
    """What was raised and where, for whoever mends the back end."""
    where = traceback.extract_tb(problem.__traceback__)[-1]
    return f"{type(problem).__name__}: {problem} ({Path(where.filename).name}:{where.lineno})"
