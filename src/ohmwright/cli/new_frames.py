"""What stands around the messages of a new instrument: the questions, and their table."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, ValidationError, ValidationInfo

from ohmwright.wire.checksums import ChecksumName
from ohmwright.wire.frame import Frame, LineBytes
from ohmwright.wire.frame_layout import ChecksumForm, FramePart, LengthForm

NONE: Literal["-"] = "-"
"""What is typed where the instrument has no such thing."""


def _parts(given: object) -> object:
    return [part.strip() for part in given.split(",")] if isinstance(given, str) else given


def _can_end(ends: str, known: ValidationInfo) -> str:
    """Return `ends`. Raises ValueError where nobody could tell a frame's end by it."""
    frame_of(known.data, ends)
    return ends


def _can_be_read(given: Any, known: ValidationInfo) -> Any:
    """Return `given`. Raises ValueError where the frame that is known so far cannot have it."""
    frame_of({**known.data, str(known.field_name): given}, "<LF>")
    return given


Parts = Annotated[
    tuple[FramePart, ...],
    BeforeValidator(_parts, json_schema_input_type=str | list[str]),
    AfterValidator(_can_be_read),
    Field(min_length=1),
]
Frames = Annotated[
    Literal["text", "binary"],
    Field(description="What its messages are: text lines, or binary frames (text or binary)"),
]
Begins = Annotated[
    LineBytes, Field(description=f"What each frame begins with, as <A5> ({NONE}: nothing)")
]
Length = Annotated[
    LengthForm | Literal["-"],
    Field(
        description="The count of bytes that follows: u8 is one byte, u16 two, u16le two with the "
        f"lowest first ({NONE}: there is none)"
    ),
]
LengthCounts = Annotated[
    Parts,
    Field(
        description="What it counts, separated by commas: body, and what else of begins, length, "
        "checksum, ends"
    ),
]
Checksum = Annotated[
    ChecksumName | Literal["-"],
    Field(description=f"The checksum that messages and replies carry ({NONE}: none)"),
]
ChecksumMark = Annotated[
    str, Field(description=f"What stands before the checksum, as * ({NONE}: nothing)")
]
ChecksumWritten = Annotated[
    ChecksumForm,
    AfterValidator(_can_be_read),
    Field(
        description="How the checksum is written: binary, binary-le with the lowest byte first, "
        "hex, hex-lower or decimal; all digits of it stand there, of decimal 3 of a byte"
    ),
]
ChecksumOver = Annotated[
    Parts,
    Field(
        description="What it is taken over, separated by commas: body, and what else of begins, "
        "length, mark"
    ),
]
MessageEnds = Annotated[
    LineBytes,
    AfterValidator(_can_end),
    Field(description=f"What ends each message to it ({NONE}: nothing)"),
]
ReplyEnds = Annotated[
    LineBytes,
    AfterValidator(_can_end),
    Field(description=f"What ends each reply ({NONE}: nothing)"),
]
USUAL_OF_BINARY = {
    "message_ends": NONE,
    "reply_ends": NONE,
    "checksum_form": "binary",
    "state_off": "<00>",
    "state_on": "<01>",
}
"""What is usual where frames are binary, in place of the default of the question."""


def usual_by_answers(so_far: Mapping[str, Any]) -> dict[str, str]:
    """Return what is usual by the answers `so_far`, in place of the defaults of the questions."""
    usual = dict(USUAL_OF_BINARY) if so_far.get("frames") == "binary" else {}
    if "message_ends" in so_far:
        usual["reply_ends"] = str(so_far["message_ends"])
    return usual


OF_BINARY_FRAMES = ("length", "length_counts")
"""What is asked of binary frames alone: where a length is there at all."""
OF_FRAMES = ("begins", *OF_BINARY_FRAMES, "mark", "checksum", "checksum_form", "checksum_over")
"""What is asked about frames, in turn."""


def is_frame_key_asked(key: str, so_far: Mapping[str, Any]) -> bool:
    """Return whether the question `key` about frames makes sense after the answers `so_far`."""
    if key in OF_BINARY_FRAMES and so_far.get("frames") != "binary":
        return False
    if key == "length_counts":
        return bool(so_far.get("length", NONE) != NONE)
    if key in ("mark", "checksum_form", "checksum_over"):
        return bool(so_far.get("checksum", NONE) != NONE)
    return True


def refuse_unused(given: Mapping[str, Any], answered: Collection[str]) -> None:
    """Raise ValueError where a key of frames was `answered` that the other answers leave unused."""
    usual = (NONE, None)
    unused = [
        key
        for key in OF_FRAMES
        if key in answered and given[key] not in usual and not is_frame_key_asked(key, given)
    ]
    if unused:
        raise ValueError(
            f'{", ".join(unused)}: there is no use for it with frames = "{given["frames"]}" and '
            f'checksum = "{given["checksum"]}", and it would be lost'
        )


def frame_of(given: Mapping[str, Any], ends: str) -> dict[str, Any]:
    """Return the table [frame] by the answers `given`, for messages that end with `ends`.

    Raises ValueError where nobody could tell such frames apart.
    """
    table = {"ends": "" if ends == NONE else ends}
    asked = (key for key in OF_FRAMES if is_frame_key_asked(key, given))
    table |= {key: given[key] for key in asked if given.get(key, NONE) != NONE}
    usual = {name: field.default for name, field in Frame.model_fields.items()}
    table = {key: value for key, value in table.items() if key == "ends" or value != usual[key]}
    try:
        Frame.model_validate(table)
    except ValidationError as problem:
        error = problem.errors()[0]
        raise ValueError(error["msg"].removeprefix("Value error, ")) from None
    return table


def frame_lines(table: Mapping[str, Any]) -> str:
    """Return the table as lines of TOML."""
    return "\n".join(f"{key} = {json.dumps(value)}" for key, value in table.items())
