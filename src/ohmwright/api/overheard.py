"""A person at a practice bench, with a list of the presses that they were asked for."""

from __future__ import annotations

from typing import Literal, NamedTuple

from ohmwright.adjustment.actions import Press
from ohmwright.engine.coach_words import CHANGED_NOTHING, NOBODY
from ohmwright.instruments.operator import Operator
from ohmwright.instruments.requests import LookForCause, PressKey, Request
from ohmwright.model.cue import Cue
from ohmwright.wire.clock import Clock


class CueGiven(NamedTuple):
    """Presses that were asked for, by a cue or a request."""

    at_s: float
    press: Press


class CoachRemark(NamedTuple):
    """What the coach said the meter had shown."""

    at_s: float
    words: str


class OverheardOperator(Operator):
    """Does what `person` does; keeps what they are asked to press and told of their presses."""

    def __init__(self, person: Operator, clock: Clock) -> None:
        self.person, self._clock = person, clock
        self.name, self.present = person.name, person.present
        self.asked: list[CueGiven] = []
        self.said: list[CoachRemark] = []
        self.over_s: float | None = None
        """When the latest presses were no longer to be made; None while they are."""

    @property
    def follows_cues(self) -> bool:
        """Whether the person acts on cues."""
        return self.person.follows_cues

    def cue(self, cue: Cue) -> None:
        """Keep it, and show it to the person."""
        now_s = self._clock.now_s()
        seen = cue.words if cue == NOBODY else cue.seen
        if seen and not (cue.kind == "press" and self.said and self.said[-1].words == seen):
            # a cue to press repeats what was said before it
            self.said.append(CoachRemark(now_s, seen))
        if cue.kind == "press" and cue.presses > 0 and cue.key:
            self._ask(cue.key, cue.presses if cue.direction == "up" else -cue.presses)
        elif cue.kind == "done":
            self.over_s = now_s
        self.person.cue(cue)

    async def reply(self, request: Request, problem: str) -> str:
        """Keep a request for presses, and return what the person says."""
        if isinstance(request, PressKey):
            times = request.presses if request.direction == "up" else -request.presses
            self._ask(request.key, times)
        elif isinstance(request, LookForCause) and CHANGED_NOTHING in request.seen:
            words = f"{request.seen[0].upper()}{request.seen[1:]}."
            self.said.append(CoachRemark(self._clock.now_s(), words))
        return await self.person.reply(request, problem)

    async def tell(self, words: str) -> None:
        """Have the person told."""
        await self.person.tell(words)

    def _ask(self, key: Literal["coarse", "fine"], times: int) -> None:
        self.asked.append(CueGiven(self._clock.now_s(), Press(key, times)))
        self.over_s = None
