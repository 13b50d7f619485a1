"""The questions of the command `new`: each a field with its words, its default and its check."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import (
    AfterValidator,
    BeforeValidator,
    Field,
    model_validator,
)

from ohmwright.model.base import FrozenModel
from ohmwright.model.hardware import MANY, Averaging, ModeKind, PanelName, Positive

from .new_asked import OF_TEXT, is_asked
from .new_checks import (
    acknowledges,
    answers,
    refuse_no_address,
    refuse_none,
    said_by,
    unless_none,
)
from .new_frames import (
    NONE,
    USUAL_OF_BINARY,
    Begins,
    Checksum,
    ChecksumMark,
    ChecksumOver,
    ChecksumWritten,
    Frames,
    Length,
    LengthCounts,
    MessageEnds,
    ReplyEnds,
    refuse_unused,
    usual_by_answers,
)


def _numbers(given: object) -> object:
    return given.replace(";", ",").split(",") if isinstance(given, str) else given


Loads = Annotated[
    tuple[Positive, ...],
    BeforeValidator(_numbers, json_schema_input_type=str | list[float]),
    Field(min_length=1, max_length=MANY),
]


_ACKNOWLEDGED = f"What it answers to that when it has done it ({NONE}: nothing)"
IdentifyReply = Annotated[
    str,
    AfterValidator(answers("identify")),
    Field(description="Its reply, as <81>{identity:16}; {identity} is what it calls itself"),
]


class _Answers(FrozenModel):
    """Answers whose usual values depend on what frames are."""

    @model_validator(mode="before")
    @classmethod
    def _usual(cls, given: object) -> object:
        if not isinstance(given, dict):
            return given
        usual = usual_by_answers(given).items()
        return {**{key: said for key, said in usual if key in cls.model_fields}, **given}

    @model_validator(mode="after")
    def _has_messages(self) -> Self:
        given, known = vars(self), self.model_fields_set
        usual = USUAL_OF_BINARY if given["frames"] == "binary" else ()
        refuse_unused(given, known.difference(usual))
        if given["frames"] == "binary":
            wanted = (key for key in OF_TEXT if key in given and is_asked(key, given))
            if missing := [key for key in wanted if key not in known]:
                raise ValueError(f"binary frames have no usual messages: {', '.join(missing)}")
        return self


class _LineAnswers(_Answers):
    """What is asked of the port and of what stands around each message."""

    baud: int = Field(9600, gt=0, description="Bits per second, of a serial port")
    frames: Frames = "text"
    begins: Begins = NONE
    length: Length = "u8"
    length_counts: LengthCounts = ("body",)
    checksum: Checksum = NONE
    mark: ChecksumMark = NONE
    checksum_form: ChecksumWritten = "hex"
    checksum_over: ChecksumOver = ("body",)
    message_ends: MessageEnds = "<CR><LF>"
    reply_ends: ReplyEnds = "<CR><LF>"
    answer: str = Field(
        NONE, description=f"What it answers to a command that it has done ({NONE}: nothing)"
    )
    echo: Literal["yes", "no"] = Field(
        "no", description="Whether it sends each message back before it answers, yes or no"
    )
    identify: Annotated[str, AfterValidator(said_by("ask", "identify"))] = Field(
        "*IDN?", description="The message that asks who it is"
    )
    identify_reply: IdentifyReply = "{identity}"


class _AnalyzerFacts(_Answers):
    """What is asked about an analyzer before its line."""

    maker: str = Field(min_length=1, description="Maker, as on its label")
    model: str = Field(min_length=1, description="Model, as on its label")
    loads_ohm: Loads = Field(description="Load resistances in ohm, separated by commas")
    max_power_w: Positive = Field(description="The most power in W that its loads bear")
    max_on_s: Positive = Field(60, description="The longest activation in s at that power")
    max_current_ma: Positive = Field(description="Where its meter's range ends, in mA")
    resolution_ma: Positive = Field(1, description="The meter's last digit, in mA")
    readings_per_s: Positive = Field(description="New readings a second")
    averages_by: Averaging = Field(
        "mean",
        description="How it averages: mean, over a window, or filter, as where the manual names a "
        "time constant",
    )
    window_s: Positive = Field(
        0.5,
        description="Each reading is the mean over how many s; of a filter, twice its time "
        "constant",
    )
    reached: Annotated[str, AfterValidator(refuse_none), AfterValidator(refuse_no_address)] = Field(
        min_length=1,
        description="How it is reached: a serial port (as COM3, /dev/ttyUSB0 or serial=NUMBER of "
        "its adapter), HOST:PORT, or a VISA resource",
    )


class _GeneratorFacts(_Answers):
    """What is asked about a generator before its line."""

    maker: str = Field(min_length=1, description="Maker, as on its label")
    model: str = Field(min_length=1, description="Model, as on its label")
    mode: PanelName = Field("cut", description="The name of its first output mode")
    mode_kind: ModeKind = Field("cut", description="Its kind: cut, blend, coag or bipolar")
    max_setting_w: Positive = Field(description="The full setting of that mode in W")
    rated_load_ohm: Positive = Field(description="Its rated load in ohm")
    reached: Annotated[str, AfterValidator(refuse_no_address)] = Field(
        NONE,
        min_length=1,
        description="How its port is reached: a serial port, HOST:PORT, or a VISA resource "
        f"({NONE}: it has no port)",
    )


# questions are asked in the order of the fields: those of the base named last come first


class AnalyzerAnswers(_LineAnswers, _AnalyzerFacts):
    """What is asked about an analyzer; every description is read by a person."""

    set_load: Annotated[str, AfterValidator(said_by("tell", "set_load"))] = Field(
        "LOAD {load_ohm:.0f}",
        description="The message that connects a load; the field may be {load_kohm:.3f}, or "
        "{load_ohm:code} where each load has a code",
    )
    set_load_answer: Annotated[str, unless_none(acknowledges("set_load"))] = Field(
        NONE, description=_ACKNOWLEDGED
    )
    load: Annotated[str, unless_none(said_by("ask", "load"))] = Field(
        "LOAD?", description=f"The message that asks which load is connected ({NONE}: none does)"
    )
    load_reply: Annotated[str, AfterValidator(answers("load"))] = Field(
        "{load_ohm}", description="Its reply, as {load_ohm} or LOAD={load_kohm} KOHM"
    )
    on: Annotated[str, AfterValidator(said_by("tell", "on"))] = Field(
        description="The message that closes the keying output; {limit_s:.0f} stands for the "
        "longest time in s, where the message carries one"
    )
    on_answer: Annotated[str, unless_none(acknowledges("on"))] = Field(
        NONE, description=_ACKNOWLEDGED
    )
    max_limit_s: Positive = Field(60, description="The longest such time in s")
    off: Annotated[str, AfterValidator(said_by("tell", "off"))] = Field(
        description="The message that opens it"
    )
    off_answer: Annotated[str, unless_none(acknowledges("off"))] = Field(
        NONE, description=_ACKNOWLEDGED
    )
    state: Annotated[str, AfterValidator(said_by("ask", "state"))] = Field(
        description="The message that asks whether it is open or closed"
    )
    state_reply: Annotated[str, AfterValidator(answers("state"))] = Field(
        "{state:code}", description="Its reply; {state:code} stands for the word for open or closed"
    )
    state_off: str = Field("0", min_length=1, description="That word where it is open: off")
    state_on: str = Field("1", min_length=1, description="That word where it is closed: on")
    current: Annotated[str, AfterValidator(said_by("ask", "fetch_current"))] = Field(
        description="The message that asks for the load current"
    )
    current_reply: Annotated[str, AfterValidator(answers("fetch_current"))] = Field(
        "{current_ma}",
        description="Its reply, as {current_ma} or I={current_a} A; {power_w} of a meter of power",
    )


class GeneratorAnswers(_LineAnswers, _GeneratorFacts):
    """What is asked about a generator."""

    select_mode: Annotated[str, AfterValidator(said_by("tell", "select_mode"))] = Field(
        "MODE {mode}", description="The message that chooses a mode"
    )
    select_mode_answer: Annotated[str, unless_none(acknowledges("select_mode"))] = Field(
        NONE, description=_ACKNOWLEDGED
    )
    set_power: Annotated[str, AfterValidator(said_by("tell", "set_power"))] = Field(
        "POWER {setting_w:.0f}", description="The message that chooses the power setting"
    )
    set_power_answer: Annotated[str, unless_none(acknowledges("set_power"))] = Field(
        NONE, description=_ACKNOWLEDGED
    )


Answers = AnalyzerAnswers | GeneratorAnswers
