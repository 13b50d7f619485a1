"""Whoever practises at the terminal: the keys of an invented unit are keys of the keyboard."""

from __future__ import annotations

from rich.text import Text

from ohmwright.instruments.operator import Operator
from ohmwright.instruments.requests import (
    EnterService,
    LeaveService,
    LeaveUnsaved,
    Request,
    SelectMode,
    StoreTrims,
)
from ohmwright.model.account import account_name
from ohmwright.model.bench_status import BenchStatus
from ohmwright.model.cue import Cue
from ohmwright.model.errors import UsageError
from ohmwright.model.event import Event
from ohmwright.simulator.panel import Panel
from ohmwright.wire.clock import RunningClock

from .live import LiveView
from .panel_keys import KEYS_SHOWN, KeyedAnswer, PanelKey, typed_keys
from .sound.sounding import Sounds

_REST_RATE = 10.0
"""How much faster a rest passes: nobody learns from waiting."""


class Learner(Operator):
    """Presses keys of the unit's panel at any time, and answers a request by one key.

    The view of the run is theirs, since their keyboard is read in it.
    """

    follows_cues = True

    def __init__(
        self, panel: Panel, clock: RunningClock, sounds: Sounds, *, quick_rests: bool
    ) -> None:
        self.name = account_name()
        self.view = LiveView(clock, sounds, self.on_keys)
        self._panel, self._clock = panel, clock
        self._rest_rate = _REST_RATE if quick_rests else 1.0
        self._answer: KeyedAnswer | None = None
        self._unit_says = ""
        self._draw_panel()

    def on_keys(self, typed: bytes) -> None:
        """Take what was typed: keys of the unit, and an answer where a request waits for one."""
        for key in typed_keys(typed):
            if isinstance(key, PanelKey):
                self._press(key)
            elif self._answer is not None:
                self._answer.take(key)
        self._draw_panel()

    def on_event(self, event: Event) -> None:
        """Show an event."""
        self.view.on_event(event)

    def on_status(self, moment: BenchStatus) -> None:
        """Show the status; a rest in which nothing is to be done passes quickly."""
        to_do = moment.cue is not None and moment.cue.kind == "press"
        resting = moment.rf == "off" and moment.rest_left_s is not None and not to_do
        self._clock.rate = self._rest_rate if resting else 1.0
        self.view.on_status(moment)

    def cue(self, cue: Cue) -> None:
        """Show the cue; from then on time passes as it does at a bench."""
        self._clock.rate = 1.0
        self.view.cue(cue)

    async def reply(self, request: Request, problem: str) -> str:
        """Show the request in the view until it is answered, then do it at the panel."""
        self._clock.rate = 1.0
        self._answer = answer = KeyedAnswer(request)
        self.view.watch.open_request(request, problem, by_foot=self.keyed_by_foot)
        self.view.watch.hold(self._clock.now_s())
        self.view.heed(request.text)
        try:
            said = await answer.given()
        finally:
            self._answer = None
            self.view.watch.close_request()
            self.view.watch.go_on(self._clock.now_s())
        self._do(request)
        self._draw_panel()
        return said

    async def tell(self, words: str) -> None:
        """Show what is to be done at once."""
        self.view.heed(words)
        self.view.notify(Text(f">> {words}", style="bold"))

    def _press(self, key: PanelKey) -> None:
        try:
            self._panel.press(key.key, key.direction)
        except UsageError:
            self._unit_says = "the unit takes no presses now"
        else:
            self._unit_says = f"pressed: {key.key} {key.direction}"

    def _do(self, request: Request) -> None:
        """Do at the panel what is asked for and is not practised here."""
        panel = self._panel
        match request:
            case SelectMode():
                panel.select(request.mode, request.setting_w)
            case EnterService():
                panel.service(on=True)
                panel.point(request.point)
            case StoreTrims():
                panel.store()
            case LeaveService() | LeaveUnsaved():
                panel.service(on=False)

    def _draw_panel(self) -> None:
        typed = "" if self._answer is None else self._answer.typed
        self.view.typing = typed != ""
        said = f"answer: {typed}_" if typed else self._unit_says
        self.view.panel = (Text(KEYS_SHOWN), Text(f"unit: {said}", style="bold"))
