"""A simulated person, who works the simulated front panel as they are asked to."""

from __future__ import annotations

from ohmwright.instruments.operator import Operator
from ohmwright.instruments.requests import (
    CORRECTED,
    NO,
    RIGHT,
    UNKNOWN,
    YES,
    EnterService,
    LeaveService,
    LeaveUnsaved,
    LookAtAlarm,
    LookAtPanel,
    LookForCause,
    PressKey,
    Request,
    SelectMode,
    StoreTrims,
)
from ohmwright.wire.clock import Clock

from .panel import Panel

_SECONDS_A_REQUEST = 3.0
_SECONDS_A_PRESS = 0.4


class SimulatedOperator(Operator):
    """Takes a person's time for each request, and finds every inspected thing in order.

    Asked for the cause of something they cannot see, they answer `unknown`, or the word in `finds`.
    """

    name = "simulated person"

    def __init__(self, panel: Panel, clock: Clock) -> None:
        self._panel, self._clock = panel, clock
        self.finds = ""
        """The answer to a question of why nothing was seen."""
        self.misdials = 1.0
        """The setting that is dialled over the one asked for, until the panel is looked at."""
        self._wanted: SelectMode | None = None

    async def reply(self, request: Request, problem: str) -> str:  # noqa: ARG002
        """Work the panel or look at the alarm; the word of the answer."""
        await self._clock.sleep(_SECONDS_A_REQUEST)
        panel = self._panel
        match request:
            case SelectMode():
                self._select(request)
            case LookAtPanel():
                return self._look_at_panel()
            case LookForCause():
                return self.finds or UNKNOWN.word
            case EnterService():
                panel.service(on=True)
                panel.point(request.point)
            case PressKey():
                await self._clock.sleep(_SECONDS_A_PRESS * request.presses)
                panel.press(request.key, request.direction, request.presses)
            case StoreTrims():
                panel.store()
            case LeaveService() | LeaveUnsaved():
                panel.service(on=False)
            case LookAtAlarm():
                return YES.word if panel.contact_alarm else NO.word
        return request.answers[0].word

    def _select(self, request: SelectMode) -> None:
        self._wanted = request
        self._panel.select(request.mode, self.misdials * request.setting_w)

    def _look_at_panel(self) -> str:
        """The word for a setting that is right, or that was corrected now."""
        if self.misdials == 1.0 or self._wanted is None:
            return RIGHT.word
        self._panel.select(self._wanted.mode, self._wanted.setting_w)
        return CORRECTED.word
