"""A simulated person, who does with the simulated front panel what they are asked to do."""

from __future__ import annotations

from ohmwright.instruments.operator import (
    NO,
    YES,
    EnterService,
    LeaveService,
    LeaveUnsaved,
    LookAtAlarm,
    Operator,
    PressKey,
    Request,
    SelectMode,
    StoreTrims,
)
from ohmwright.wire.clock import Clock

from .panel import Panel

_SECONDS_A_REQUEST = 3.0
_SECONDS_A_PRESS = 0.4


class SimulatedPerson(Operator):
    """Takes a person's time over it, and finds every inspected thing in order."""

    name = "simulated person"

    def __init__(self, panel: Panel, clock: Clock) -> None:
        self._panel, self._clock = panel, clock

    async def reply(self, request: Request, problem: str) -> str:  # noqa: ARG002
        """Work the panel, or look at the alarm lamp; else give the first answer there is."""
        await self._clock.sleep(_SECONDS_A_REQUEST)
        panel = self._panel
        match request:
            case SelectMode():
                panel.select(request.mode, request.setting_w)
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
