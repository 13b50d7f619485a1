"""A person at a practice bench, with a list of the presses that they were asked for."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal, NamedTuple

from ohmwright.adjustment.actions import Press
from ohmwright.engine.coach_words import CHANGED_NOTHING, NOBODY
from ohmwright.instruments.doubt_requests import CORRECTED, RIGHT, LookAtPanel, LookForCause
from ohmwright.instruments.operator import Operator
from ohmwright.instruments.requests import (
    DONE,
    EnterService,
    LeaveService,
    LeaveUnsaved,
    PressKey,
    Request,
    SelectMode,
    StoreTrims,
)
from ohmwright.model.cue import Cue
from ohmwright.simulator.panel import PanelFace
from ohmwright.wire.clock import Clock

_CLAIMS = {said: one.word for one in (DONE, RIGHT, CORRECTED) for said in (one.word, one.key)}
"""Answers by which somebody says how the unit stands now, as typed, and their words."""


class CueGiven(NamedTuple):
    """Presses that were asked for, by a cue or a request."""

    at_s: float
    press: Press


class CoachRemark(NamedTuple):
    """What the coach said the meter had shown."""

    at_s: float
    words: str


class OverheardOperator(Operator):
    """Does what `person` does; keeps what they are asked to press and told of their presses.

    `face`: returns what the unit's panel shows, against which answers such as "done" are held.
    """

    def __init__(self, person: Operator, clock: Clock, face: Callable[[], PanelFace]) -> None:
        self.person, self._clock, self._face = person, clock, face
        self.name, self.present = person.name, person.present
        self.asked: list[CueGiven] = []
        self.said: list[CoachRemark] = []
        self.untrue: list[str] = []
        """What was called done or right though the panel shows otherwise, as sentences."""
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
        said = await self.person.reply(request, problem)
        shown = _not_done(request, self._face())
        if shown and said in _CLAIMS:
            self.untrue.append(f'"{request.text}" was answered with "{_CLAIMS[said]}": {shown}.')
        return said

    def take_back(self, words: str) -> None:
        """Have the person no longer shown what they were told."""
        self.person.take_back(words)

    async def tell(self, words: str) -> None:
        """Have the person told."""
        await self.person.tell(words)

    def _ask(self, key: Literal["coarse", "fine"], times: int) -> None:
        self.asked.append(CueGiven(self._clock.now_s(), Press(key, times)))
        self.over_s = None


def _not_done(request: Request, face: PanelFace) -> str:
    """Return what the panel shows in place of what was to be done; empty where it was done."""
    setting = f"{face.mode}, {face.setting_w:g} W"
    says = f"service mode, point {face.point}" if face.in_service else setting
    match request:
        case SelectMode() if (face.mode, face.setting_w) != (request.mode, request.setting_w):
            return f"the unit was set to {setting}"
        case LookAtPanel() if request.wanted != says:
            return f"the panel said {says}"
        case EnterService() if not face.in_service:
            return "the unit was in normal use"
        case EnterService() if face.point != request.point:
            return f"the unit stood at point {face.point}"
        case StoreTrims() if not face.saved:
            return "nothing was saved in the unit"
        case LeaveService() | LeaveUnsaved() if face.in_service:
            return "the unit was still in service mode"
    return ""
