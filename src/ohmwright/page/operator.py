"""The person at the bench, who reads requests on the page and answers there."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from ohmwright.api.run_view import RunWatch
from ohmwright.instruments.operator import Operator
from ohmwright.instruments.requests import Request
from ohmwright.model.account import account_name
from ohmwright.model.errors import UsageError
from ohmwright.wire.clock import Clock

READING_TIME_S = 0.3
"""Nobody reads a request faster; what was said earlier is no answer to it."""


class PageOperator(Operator):
    """Shows each request in the picture of the run, and waits for the page's answer."""

    answers_in_own_time = True
    follows_cues = True

    def __init__(
        self, watch: RunWatch, real: Clock, name: str, bench_s: Callable[[], float]
    ) -> None:
        """`real`: the machine's clock, whatever the bench's, whose time `bench_s` returns; `name`:
        empty for the account's."""
        self._bench_s = bench_s
        self.name = name or account_name()
        self._watch, self._real = watch, real
        self._number, self._shown_s = 0, 0.0
        self._said: asyncio.Future[str] | None = None

    async def reply(self, request: Request, problem: str) -> str:
        """Show the request until the page has answered; return what was said."""
        self._number = self._watch.open_request(request, problem, by_foot=self.keyed_by_foot).number
        self._watch.hold(self._bench_s())
        self._shown_s = self._real.now_s()
        self._said = asyncio.get_running_loop().create_future()
        try:
            return await self._said
        finally:
            self._said = None
            self._watch.close_request()
            self._watch.go_on(self._bench_s())

    async def tell(self, words: str) -> None:
        """Show what is to be done at once."""
        moment = self._watch.moment
        self._watch.notify(words, 0.0 if moment is None else moment.bench_s)

    def take_back(self, words: str) -> None:
        """Show no longer what was told."""
        self._watch.take_back(words)

    def say(self, number: int, words: str) -> None:
        """Answer the request `number` with `words`. Raises UsageError where it is not open."""
        if self._said is None or self._said.done() or number != self._number:
            raise UsageError("That request is not open any more.", do="Read what is asked now.")
        if self._real.now_s() - self._shown_s < READING_TIME_S:
            raise UsageError("That was said before it could be read.", do="Say it again.")
        self._said.set_result(words)
