"""Whether what is answered to `new` can be so: a message in the frames so far, or an address."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal

from pydantic import AfterValidator, ValidationError, ValidationInfo

from ohmwright.wire.command_set import CommandSet

from .new_asked import is_address
from .new_frames import NONE, frame_of

_NEEDED = (
    "it is needed; what the instrument cannot do by command a person may do: "
    "'ohmwright guide by_hand'"
)
MessageCheck = Callable[[str, ValidationInfo], str]
"""Returns what was answered, with the answers before it known. Raises ValueError."""


def said_by(kind: Literal["ask", "tell"], verb: str) -> MessageCheck:
    """A check that `text` can be the message `verb`, asked or told."""

    def check(text: str, known: ValidationInfo) -> str:
        sent = refuse_none(text)
        message = {"send": sent, "reply": "{" + _ASKED[verb] + "}"} if kind == "ask" else sent
        _valid({kind: {verb: message}}, known)
        return text

    return check


def answers(verb: str) -> MessageCheck:
    """A check that `text` can be the reply to the question `verb`."""

    def check(text: str, known: ValidationInfo) -> str:
        _valid({"ask": {verb: {"send": "x", "reply": text}}}, known)
        return text

    return check


def acknowledges(verb: str) -> MessageCheck:
    """A check that `text` can acknowledge the command `verb`."""

    def check(text: str, known: ValidationInfo) -> str:
        if verb in known.data:
            _valid({"tell": {verb: {"send": known.data[verb], "answer": text}}}, known)
        return text

    return check


def _valid(messages: dict[str, Any], known: ValidationInfo) -> None:
    """Raise ValueError where `messages` are none in the frames that are `known` so far."""
    codes = {"state": {"off": "0", "on": "1"}, "load_ohm": {"1": "1"}, "mode": {"cut": "C"}}
    frame = frame_of(known.data, known.data.get("message_ends", "<LF>"))
    whole = {"name": "x", "format": 2, "ask": {}, "tell": {}, "codes": codes, "frame": frame}
    try:
        CommandSet.model_validate({**whole, **messages})
    except ValidationError as problem:
        detail = problem.errors()[0]
        raise ValueError(str(detail.get("ctx", {}).get("what", detail["msg"]))) from None


_ASKED = {
    "identify": "identity",
    "load": "load_ohm",
    "state": "state:code",
    "fetch_current": "current_ma",
}


def refuse_none(text: str) -> str:
    """Return `text`. Raises ValueError where it says that there is none."""
    if text == NONE:
        raise ValueError(_NEEDED)
    return text


def refuse_no_address(text: str) -> str:
    """Return `text`. Raises ValueError where no instrument can be reached by it."""
    if "://" in text:
        raise ValueError("an address stands without '://': say HOST:PORT, as 127.0.0.1:5025")
    if text != NONE and not is_address(text):
        raise ValueError(
            f"'{text}' is no serial port (COM3, /dev/ttyUSB0, serial=NUMBER of its adapter), no "
            "HOST:PORT (as 127.0.0.1:5025) and no VISA resource (as USB0::…::INSTR)"
        )
    return text


def unless_none(check: MessageCheck) -> AfterValidator:
    """Make a check that lets through that there is no such message."""
    return AfterValidator(lambda text, known: text if text == NONE else check(text, known))
