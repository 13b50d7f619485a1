"""A file that a person adds to a run: a photo, a delivery note, the print of another instrument."""

from __future__ import annotations

from base64 import b64decode, b64encode
from hashlib import sha256

from pydantic import model_validator

from .base import FrozenModel

LARGEST_ATTACHMENT_BYTES = 10_000_000
LARGEST_ATTACHMENTS_BYTES = 30_000_000
"""Of all that one call attaches."""


class Attachment(FrozenModel):
    """One file, whole; refused where its content does not fit its digest."""

    name: str
    """Of the file that it was read from, without its folder."""
    media_type: str
    """As its name says, such as `image/jpeg`; nobody looked into it."""
    sha256: str
    """Of its bytes, in hexadecimal."""
    content_base64: str

    @model_validator(mode="after")
    def _digest_fits(self) -> Attachment:
        if self.sha256 != sha256(self.content).hexdigest():
            raise ValueError(f"the content of '{self.name}' does not fit its SHA-256")
        return self

    @property
    def content(self) -> bytes:
        """The bytes of the file."""
        return b64decode(self.content_base64, validate=True)


def attachment(name: str, media_type: str, content: bytes) -> Attachment:
    """The attachment made of the bytes of a file."""
    return Attachment(
        name=name,
        media_type=media_type,
        sha256=sha256(content).hexdigest(),
        content_base64=b64encode(content).decode(),
    )
