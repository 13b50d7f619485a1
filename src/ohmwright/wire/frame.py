"""The keys of a command set that say how messages stand on the line."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, Field, model_validator

from ohmwright.model.base import FrozenModel

from .checksums import ChecksumName
from .frame_layout import ChecksumForm, FrameLayout, FramePart, LengthForm
from .message_parts import literal_bytes


def _named(text: str) -> str:
    literal_bytes(text)
    return text


LineBytes = Annotated[str, Field(max_length=100), AfterValidator(_named)]
"""Bytes of the line, such as `<CR><LF>`, `<STX>` or `<A5>`."""


class Frame(FrozenModel):
    """What stands around each message: begins, length, body, mark, checksum, ends, in turn."""

    ends: LineBytes = "<LF>"
    """What ends it; empty where `length` or `mark` tells its end."""
    begins: LineBytes = ""
    length: LengthForm | None = None
    """A field for the number of bytes."""
    length_counts: tuple[FramePart, ...] = ("body",)
    """The parts that this number counts."""
    mark: LineBytes = ""
    """What stands between body and checksum."""
    checksum: ChecksumName | None = None
    checksum_form: ChecksumForm = "hex"
    """Hexadecimal or decimal digits, or bytes with the highest or (le) the lowest first."""
    checksum_over: tuple[FramePart, ...] = ("body",)
    """The parts that it is taken over."""

    @model_validator(mode="after")
    def _can_be_told_apart(self) -> Frame:
        if not (self.ends or self.mark or self.length):
            raise ValueError("without 'ends', 'mark' or 'length' nobody knows where a frame ends")
        if self.mark and self.checksum is None:
            raise ValueError("'mark' stands before a checksum; without one it is part of 'ends'")
        binary = self.checksum is not None and self.checksum_form.startswith("binary")
        if binary and not (self.mark or self.length):
            raise ValueError(
                "a binary checksum may hold the bytes of 'ends'; it needs 'mark' or 'length'"
            )
        if {"checksum", "ends"} & set(self.checksum_over):
            raise ValueError("a checksum is taken over what stands before it")
        if self.length is not None and "body" not in self.length_counts:
            raise ValueError("'length_counts' must count the body")
        return self

    def layout(self) -> FrameLayout:
        """The layout by which engine and guard work."""
        return FrameLayout(
            ends=literal_bytes(self.ends),
            begins=literal_bytes(self.begins),
            length=self.length or "",
            length_counts=self.length_counts,
            mark=literal_bytes(self.mark),
            checksum=self.checksum or "",
            checksum_form=self.checksum_form,
            checksum_over=self.checksum_over,
        )
