"""What one run carries from activation to activation: time on, warmth, and the rest that is due."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from datetime import datetime
from typing import TypedDict

# what the estimators import when first needed must be in before RF is on: an import takes up to
# seconds, in which nobody hears a signal and the guard hears nothing
import scipy.special  # noqa: F401

from ohmwright.instruments.bench import Bench
from ohmwright.instruments.operator import NOT_ANSWERS
from ohmwright.metrology.droop import LeftOver
from ohmwright.model.event import Asked
from ohmwright.model.procedure import Timing
from ohmwright.model.result import Sample

from .activation import Activation, activation
from .appraisal import Accuracy
from .in_service import InService
from .notes import Notes
from .resting import Heat

OnSample = Callable[[Sample], None]


class Stamp(TypedDict):
    """The two times of an event."""

    at: datetime
    bench_s: float


def ignore(_: Sample) -> None:
    """Listen to nothing."""


@dataclass
class Session:
    """A bench at work."""

    bench: Bench
    on_sample: OnSample = ignore
    """Told each reading while RF is on; must return at once."""
    accuracy: Accuracy | None = None
    """What the analyzer's certificate says of its readings today; None without one."""
    notes: Notes = field(default_factory=Notes)
    """Events to be handed out when RF is off."""
    service: InService | None = None
    """Service mode, while a point is adjusted."""
    answered: int = 0
    """How many requests a person has answered with an answer of the request's own."""
    on_s: float = 0.0
    started_s: float = field(init=False)
    _heat: Heat = field(init=False)

    def __post_init__(self) -> None:
        self.started_s = self.bench.clock.now_s()
        self._heat = Heat.of(self.bench)
        self.bench.operator.on_answer = self._note_answer

    def _note_answer(self, question: str, answer: str, words: str) -> None:
        own = answer not in NOT_ANSWERS
        self.answered += own
        if self.service is not None and answer != "comment":
            self.service.asked = "" if own else question
        self.notes.add(
            Asked(
                **self.stamp(),
                question=question,
                answer=answer,
                words=words,
                told_by=self.bench.operator.name,
            )
        )

    @property
    def told_by(self) -> str | None:
        """Whose word it is that the unit was worked; None where that is done by port."""
        bench = self.bench
        return None if bench.generator.unattended else bench.operator.name

    def stamp(self) -> Stamp:
        """The two times every event carries."""
        clock = self.bench.clock
        return Stamp(at=clock.wall(), bench_s=round(clock.now_s(), 6))

    async def rest(self, timing: Timing, *, power_w: float, tolerance: float) -> LeftOver:
        """Wait until an activation at `power_w` may begin; say what warmth is then left over.

        `tolerance`: the narrower side of what the value is held against, relative; 0 asks
        for the whole rest of the procedure. See `resting.Heat.rest_s`.
        """
        clock = self.bench.clock
        rest_s = self._heat.rest_s(clock.now_s(), timing, power_w, tolerance)
        await clock.sleep(rest_s)
        return self._heat.left_over(clock.now_s(), timing.age_s)

    @asynccontextmanager
    async def activation(
        self, *, load_ohm: float, power_w: float, limit_s: float
    ) -> AsyncIterator[Activation]:
        """An activation whose time is counted and whose heat is kept account of."""
        clock = self.bench.clock
        before_s = clock.now_s()
        opened: Activation | None = None
        try:
            async with activation(
                self.bench, load_ohm=load_ohm, power_w=power_w, limit_s=limit_s
            ) as opened:
                before_s = clock.now_s()
                yield opened
        finally:
            # the instrument ends it at its limit, however long a person was at the keys
            now_s = min(clock.now_s(), before_s + limit_s)
            self.on_s += now_s - before_s
            seen_w = None if opened is None else opened.power_w
            self._heat.note(before_s, now_s, power_w if seen_w is None else seen_w)
