"""A simulated person, who works the simulated front panel as they are asked to."""

from __future__ import annotations

from ohmwright.instruments.answer_requests import TypeFigure, TypeText
from ohmwright.instruments.doubt_requests import (
    CORRECTED,
    RIGHT,
    UNKNOWN,
    WITHOUT,
    LookAtPanel,
    LookForCause,
    MendLoad,
)
from ohmwright.instruments.foot_switch import RELEASE
from ohmwright.instruments.hand_requests import (
    ConnectContact,
    ConnectLoad,
    MeasureAgain,
    PressFootSwitch,
    TypeReading,
)
from ohmwright.instruments.operator import Operator
from ohmwright.instruments.requests import (
    NO,
    YES,
    ConnectPath,
    CountPresses,
    EnterService,
    LeaveService,
    LeaveUnsaved,
    LookAtAlarm,
    PressKey,
    ReadSerialPlate,
    Request,
    SelectMode,
    StoreTrims,
)
from ohmwright.model.cue import Cue
from ohmwright.wire.clock import Clock

from .analyzer_front import AnalyzerFront
from .cued_hands import CuedHands, Hands
from .panel import Panel

_SECONDS_A_REQUEST = 3.0
_SECONDS_A_PRESS = 0.4
_SECONDS_TO_LET_GO = 0.7


class SimulatedOperator(Operator):
    """Takes a person's time for each request, and finds every inspected thing in order.

    Asked for the cause of something they cannot see, they answer `unknown`, and go on without what
    they cannot mend; or the word in `finds`.
    """

    name = "simulated person"
    follows_cues = True

    def __init__(
        self,
        panel: Panel,
        clock: Clock,
        front: AnalyzerFront | None = None,
        hands: Hands | None = None,
        seed: int = 0,
    ) -> None:
        """`front`: the analyzer's, for a bench where a person works that, too.

        `hands`: how they act on cues, by default without slips; `seed`: of what they do.
        """
        self._panel, self._clock, self._front = panel, clock, front
        self.hands = CuedHands(panel, clock, hands or Hands(), seed)
        """What acts on cues, and the truth of what was done."""
        self.finds = ""
        """The answer to a question of why nothing was seen."""
        self.misdials = 1.0
        """The setting that is dialled over the one asked for, until the panel is looked at."""
        self._wanted: SelectMode | None = None

    async def reply(self, request: Request, problem: str) -> str:  # noqa: ARG002
        """Work the panel or look at the alarm; the word of the answer."""
        await self._clock.sleep(_SECONDS_A_REQUEST)
        panel = self._panel
        if self._front is not None and (done := self._at_the_front(request, self._front)):
            return done
        match request:
            case SelectMode():
                self._select(request)
            case TypeFigure():
                return request.in_order
            case TypeText():
                return "as it should be"
            case ReadSerialPlate():
                return panel.serial_plate
            case LookAtPanel():
                return self._look_at_panel()
            case LookForCause():
                return self.finds or UNKNOWN.word
            case MendLoad() | MeasureAgain():
                return self.finds or WITHOUT.word
            case EnterService():
                panel.service(on=True)
                panel.point(request.point)
            case PressKey():
                await self._clock.sleep(_SECONDS_A_PRESS * request.presses)
                panel.press(request.key, request.direction, request.presses)
            case CountPresses():
                return str(min(self.hands.done_of_last(), request.pressed.presses))
            case StoreTrims():
                panel.store()
            case LeaveService() | LeaveUnsaved():
                panel.service(on=False)
            case LookAtAlarm():
                return YES.word if panel.contact_alarm else NO.word
        return request.answers[0].word

    def _at_the_front(self, request: Request, front: AnalyzerFront) -> str:
        """Do the analyzer's part; the word of the answer, empty where it is none of that."""
        match request:
            case ConnectLoad():
                front.turn_load(request.load_ohm)
            case ConnectPath():
                front.join(request.path)
            case ConnectContact():
                front.turn_contact(request.resistance_ohm)
            case PressFootSwitch():
                self._panel.pedal(down=True)
            case TypeReading():
                return front.shown
            case _:
                return ""
        return request.answers[0].word

    def cue(self, cue: Cue) -> None:
        """Act on it in their own time, while the readings go on."""
        self.hands.follow(cue)

    async def tell(self, words: str) -> None:
        """Let the foot switch go when told to, after a moment."""
        if words == RELEASE:
            await self._clock.sleep(_SECONDS_TO_LET_GO)
            self._panel.pedal(down=False)

    def _select(self, request: SelectMode) -> None:
        self._wanted = request
        self._panel.select(request.mode, self.misdials * request.setting_w)

    def _look_at_panel(self) -> str:
        """The word for a setting that is right, or that was corrected now."""
        if self.misdials == 1.0 or self._wanted is None:
            return RIGHT.word
        self._panel.select(self._wanted.mode, self._wanted.setting_w)
        return CORRECTED.word
