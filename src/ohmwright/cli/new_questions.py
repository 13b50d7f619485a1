"""The questions of the command `new`: each a field with its words, its default and its check."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, ValidationError
from pydantic.fields import FieldInfo

from ohmwright.model.base import FrozenModel
from ohmwright.model.hardware import MANY, ModeKind, PanelName, Positive
from ohmwright.wire.checksums import ChecksumName
from ohmwright.wire.command_set import CommandSet
from ohmwright.wire.frame import LineBytes

NONE: Literal["-"] = "-"
"""What is typed where the instrument has no such message."""
_NEEDED = (
    "it is needed; what the instrument cannot do by command a person may do: "
    "'ohmwright guide by_hand'"
)


def _numbers(given: object) -> object:
    return given.replace(";", ",").split(",") if isinstance(given, str) else given


Loads = Annotated[
    tuple[Positive, ...],
    BeforeValidator(_numbers, json_schema_input_type=str | list[float]),
    Field(min_length=1, max_length=MANY),
]


def _said_by(kind: str, verb: str) -> Callable[[str], str]:
    """A check that `text` can be the message `verb`, of the `kind` ask or tell."""

    def check(text: str) -> str:
        if text == NONE:
            raise ValueError(_NEEDED)
        message = {"send": text, "reply": "{" + _ASKED[verb] + "}"} if kind == "ask" else text
        _valid({kind: {verb: message}})
        return text

    return check


def _answers(verb: str) -> Callable[[str], str]:
    """A check that `text` can be the reply to the question `verb`."""

    def check(text: str) -> str:
        _valid({"ask": {verb: {"send": "x", "reply": text}}})
        return text

    return check


def _valid(messages: dict[str, Any]) -> None:
    codes = {"state": {"off": "0", "on": "1"}, "load_ohm": {"1": "1"}, "mode": {"cut": "C"}}
    whole = {"name": "x", "format": 2, "ask": {}, "tell": {}, "codes": codes, **messages}
    try:
        CommandSet.model_validate(whole)
    except ValidationError as problem:
        detail = problem.errors()[0]
        raise ValueError(str(detail.get("ctx", {}).get("what", detail["msg"]))) from None


_ASKED = {
    "identify": "identity",
    "load": "load_ohm",
    "state": "state:code",
    "fetch_current": "current_ma",
}


def _optional(check: Callable[[str], str]) -> AfterValidator:
    return AfterValidator(lambda text: text if text == NONE else check(text))


class AnalyzerAnswers(FrozenModel):
    """What is asked about an analyzer; every description is read by a person."""

    maker: str = Field(min_length=1, description="Maker, as on its label")
    model: str = Field(min_length=1, description="Model, as on its label")
    loads_ohm: Loads = Field(description="Load resistances in ohm, separated by commas")
    max_power_w: Positive = Field(description="The most power in W that its loads bear")
    max_on_s: Positive = Field(60, description="The longest activation in s at that power")
    max_current_ma: Positive = Field(description="Where its meter's range ends, in mA")
    resolution_ma: Positive = Field(1, description="The meter's last digit, in mA")
    readings_per_s: Positive = Field(description="New readings a second")
    window_s: Positive = Field(0.5, description="Each reading is the mean over how many s")
    reached: str = Field(
        min_length=1,
        description="How it is reached: a serial port (as COM3, /dev/ttyUSB0 or serial=NUMBER of "
        "its adapter), HOST:PORT, or a VISA resource",
    )
    baud: int = Field(9600, gt=0, description="Bits per second, of a serial port")
    message_ends: LineBytes = Field("<CR><LF>", description="What ends each message to it")
    reply_ends: LineBytes = Field("<CR><LF>", description="What ends each reply")
    answer: str = Field(
        NONE, description=f"What it answers to a command that it has done ({NONE}: nothing)"
    )
    echo: Literal["yes", "no"] = Field(
        "no", description="Whether it sends each message back before it answers, yes or no"
    )
    checksum: ChecksumName | Literal["-"] = Field(
        NONE, description=f"The checksum that messages and replies carry ({NONE}: none)"
    )
    mark: str = Field(NONE, description=f"What stands before the checksum, as * ({NONE}: nothing)")
    identify: Annotated[str, AfterValidator(_said_by("ask", "identify"))] = Field(
        "*IDN?", description="The message that asks who it is"
    )
    set_load: Annotated[str, AfterValidator(_said_by("tell", "set_load"))] = Field(
        "LOAD {load_ohm:.0f}",
        description="The message that connects a load; the field may be {load_kohm:.3f}, or "
        "{load_ohm:code} where each load has a code",
    )
    load: Annotated[str, _optional(_said_by("ask", "load"))] = Field(
        "LOAD?", description=f"The message that asks which load is connected ({NONE}: none does)"
    )
    load_reply: Annotated[str, AfterValidator(_answers("load"))] = Field(
        "{load_ohm}", description="Its reply, as {load_ohm} or LOAD={load_kohm} KOHM"
    )
    on: Annotated[str, AfterValidator(_said_by("tell", "on"))] = Field(
        description="The message that closes the keying output; {limit_s:.0f} stands for the "
        "longest time in s, where the message carries one"
    )
    max_limit_s: Positive = Field(60, description="The longest such time in s")
    off: Annotated[str, AfterValidator(_said_by("tell", "off"))] = Field(
        description="The message that opens it"
    )
    state: Annotated[str, AfterValidator(_said_by("ask", "state"))] = Field(
        description="The message that asks whether it is open or closed"
    )
    state_reply: Annotated[str, AfterValidator(_answers("state"))] = Field(
        "{state:code}", description="Its reply; {state:code} stands for the word for open or closed"
    )
    state_off: str = Field("0", min_length=1, description="That word where it is open: off")
    state_on: str = Field("1", min_length=1, description="That word where it is closed: on")
    current: Annotated[str, AfterValidator(_said_by("ask", "fetch_current"))] = Field(
        description="The message that asks for the load current"
    )
    current_reply: Annotated[str, AfterValidator(_answers("fetch_current"))] = Field(
        "{current_ma}", description="Its reply, as {current_ma} or I={current_a} A"
    )


class GeneratorAnswers(FrozenModel):
    """What is asked about a generator."""

    maker: str = Field(min_length=1, description="Maker, as on its label")
    model: str = Field(min_length=1, description="Model, as on its label")
    mode: PanelName = Field("cut", description="The name of its first output mode")
    mode_kind: ModeKind = Field("cut", description="Its kind: cut, blend, coag or bipolar")
    max_setting_w: Positive = Field(description="The full setting of that mode in W")
    rated_load_ohm: Positive = Field(description="Its rated load in ohm")
    reached: str = Field(
        NONE,
        min_length=1,
        description="How its port is reached: a serial port, HOST:PORT, or a VISA resource "
        f"({NONE}: it has no port)",
    )
    baud: int = Field(9600, gt=0, description="Bits per second, of a serial port")
    message_ends: LineBytes = Field("<CR><LF>", description="What ends each message to it")
    reply_ends: LineBytes = Field("<CR><LF>", description="What ends each reply")
    answer: str = Field(
        NONE, description=f"What it answers to a command that it has done ({NONE}: nothing)"
    )
    echo: Literal["yes", "no"] = Field(
        "no", description="Whether it sends each message back before it answers, yes or no"
    )
    checksum: ChecksumName | Literal["-"] = Field(
        NONE, description=f"The checksum that messages and replies carry ({NONE}: none)"
    )
    mark: str = Field(NONE, description=f"What stands before the checksum, as * ({NONE}: nothing)")
    identify: Annotated[str, AfterValidator(_said_by("ask", "identify"))] = Field(
        "*IDN?", description="The message that asks who it is"
    )
    select_mode: Annotated[str, AfterValidator(_said_by("tell", "select_mode"))] = Field(
        "MODE {mode}", description="The message that chooses a mode"
    )
    set_power: Annotated[str, AfterValidator(_said_by("tell", "set_power"))] = Field(
        "POWER {setting_w:.0f}", description="The message that chooses the power setting"
    )


Answers = AnalyzerAnswers | GeneratorAnswers
OF_A_PORT = (
    "message_ends",
    "reply_ends",
    "answer",
    "echo",
    "checksum",
    "mark",
    "identify",
    "select_mode",
    "set_power",
)
"""What a generator without a port is not asked."""


def usual_answer(key: str, field: FieldInfo, so_far: dict[str, Any]) -> str:
    """Return what Enter answers to the question `key`; empty where it must be answered."""
    if key == "reply_ends":
        return str(so_far["message_ends"])
    return "" if field.is_required() else str(field.default)


def is_asked(key: str, so_far: dict[str, Any]) -> bool:
    """Return whether the question `key` makes sense after the answers given so far."""
    reached = str(so_far.get("reached", ""))
    if key == "baud":
        return reached != NONE and not is_host(reached) and "::" not in reached
    if key == "mark":
        return bool(so_far.get("checksum", NONE) != NONE)
    if key == "load_reply":
        return bool(so_far.get("load") != NONE)
    if key == "max_limit_s":
        return "{limit_" in str(so_far.get("on", ""))
    return not (key in OF_A_PORT and reached == NONE)


def is_host(reached: str) -> bool:
    """Return whether `reached` names a host and a port."""
    host, _, port = reached.rpartition(":")
    return host != "" and "::" not in reached and port.isdigit()
