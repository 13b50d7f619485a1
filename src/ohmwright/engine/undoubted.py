"""One measurement, made again as long as what was seen may not be the unit's answer."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import dataclass, field
from typing import Generic, TypeVar

from ohmwright.model.event import Event

from .doubt import AsTold, Chosen, Doubt, DoubtResolver
from .session import Session

T = TypeVar("T")
"""What one activation showed."""


async def _nothing() -> None:
    """No preparation."""


@dataclass
class Undoubted(Generic[T]):
    """Activates, and again until nothing speaks against what was seen, or a person has spoken.

    `measure` makes one activation; `doubt` says what speaks against what it showed, None for
    nothing; `in_words` says for a person what was seen.
    """

    session: Session
    chosen: Chosen
    load_ohm: float
    limit_s: float
    measure: Callable[[], Awaitable[T]]
    doubt: Callable[[T], Doubt | None]
    in_words: Callable[[T], str]
    prepare: Callable[[], Awaitable[None]] = _nothing
    """Done before each activation, RF off."""
    seen: T = field(init=False)
    """What the last activation showed."""
    as_told: AsTold | None = field(init=False, default=None)
    """The verdict and reason to be recorded instead of a value; None where the value stands."""
    last_doubt: Doubt | None = field(init=False, default=None)
    """What spoke against the last activation, and was met before."""
    resolver: DoubtResolver = field(init=False)

    def __post_init__(self) -> None:
        self.resolver = DoubtResolver.of(self.session, self.chosen)

    async def events(self) -> AsyncIterator[Event]:
        """The activations; `seen` and `as_told` hold what came of them."""
        session = self.session
        while True:
            await self.prepare()
            yield session.activation_opened(
                load_ohm=self.load_ohm, limit_s=self.limit_s, setting_w=self.chosen.setting_w
            )
            self.seen = await self.measure()
            yield session.activation_closed()
            self.last_doubt = doubt = self.doubt(self.seen)
            if doubt is None or self.resolver.stands(doubt):
                return
            self.as_told = await self.resolver.resolve(doubt, self.in_words(self.seen))
            if self.as_told is not None:
                return
