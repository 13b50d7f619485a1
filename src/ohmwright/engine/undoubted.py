"""A measurement that is repeated while its readings may not be the unit's answer."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import dataclass, field
from typing import Generic, TypeVar

from ohmwright.instruments.operator import Interjection
from ohmwright.model.errors import FootSwitchLetGo
from ohmwright.model.event import Event

from .activation_events import activation_closed, activation_opened
from .doubt import Doubt, DoubtResolver, OutputSetting, VerdictAndReason
from .session import Session

T = TypeVar("T")
"""What one activation returns."""


_LET_GO_AT_MOST = 5
"""Times that a foot switch may be let go too early before that ends the run."""


async def _no_preparation() -> None:
    """Do nothing before an activation."""


def _never(_: object) -> bool:
    """One activation is enough."""
    return False


@dataclass
class UndoubtedMeasurement(Generic[T]):
    """Activates until there is no doubt of the readings, or a verdict is known without them.

    `measure`: makes one activation; `doubt`: returns the reason to doubt what it returned, None if
    there is none; `in_words`: returns what was seen, as a clause for a person.
    """

    session: Session
    chosen: OutputSetting
    load_ohm: float
    limit_s: float
    measure: Callable[[], Awaitable[T]]
    doubt: Callable[[T], Doubt | None]
    in_words: Callable[[T], str]
    prepare: Callable[[], Awaitable[None]] = _no_preparation
    """Awaited before each activation, with RF off."""
    again: Callable[[T], bool] = _never
    """Whether to activate once more though there is no doubt; asked after each activation."""
    latest: T = field(init=False)
    """What the last activation returned."""
    verdict_instead: VerdictAndReason | None = field(init=False, default=None)
    """Verdict and reason to be recorded instead of a value; None where the value counts."""
    latest_doubt: Doubt | None = field(init=False, default=None)
    """The doubt of the last activation; None where there was none."""
    resolver: DoubtResolver = field(init=False)
    _let_go: int = field(init=False, default=0)

    def __post_init__(self) -> None:
        self.resolver = DoubtResolver.for_setting(self.session, self.chosen)

    async def events(self) -> AsyncIterator[Event]:
        """Activate and yield the events; then `latest` and `verdict_instead` are known."""
        session = self.session
        while True:
            await self.prepare()
            yield await activation_opened(
                session,
                load_ohm=self.load_ohm,
                limit_s=self.limit_s,
                setting_w=self.chosen.setting_w,
            )
            try:
                self.latest = await self.measure()
            except FootSwitchLetGo as early:
                yield activation_closed(session)
                await self._tell(early)
                continue
            except Interjection:
                yield activation_closed(session)
                raise
            yield activation_closed(session)
            self.latest_doubt = doubt = self.doubt(self.latest)
            if doubt is None or self.resolver.is_accepted(doubt):
                if not self.again(self.latest):
                    return
                continue
            self.verdict_instead = await self.resolver.resolve(doubt, self.in_words(self.latest))
            if self.verdict_instead is not None:
                return

    async def _tell(self, early: FootSwitchLetGo) -> None:
        """Tell the person that it is measured again; raises `early` when it was too often."""
        self._let_go += 1
        if self._let_go >= _LET_GO_AT_MOST:
            raise early
        await self.session.bench.operator.tell(f"{early} It is measured again.")

    def with_notes(self, reason: str) -> str:
        """Return `reason` completed by how the doubts about the kept value were resolved."""
        if self.verdict_instead is not None:
            return reason
        twice = "measured twice" if self.latest_doubt == "far off" else ""
        return "; ".join(part for part in (reason, twice, self.resolver.note) if part)
