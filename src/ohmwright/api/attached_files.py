"""Files that a person adds to a run, kept in its record whole."""

from __future__ import annotations

import mimetypes
from collections.abc import Iterable
from pathlib import Path

from ohmwright.model.attachment import (
    LARGEST_ATTACHMENT_BYTES,
    LARGEST_ATTACHMENTS_BYTES,
    Attachment,
    attachment,
)
from ohmwright.model.errors import SourceError


def read_attachments(paths: Iterable[Path]) -> tuple[Attachment, ...]:
    """Return the files with their content.

    Raises SourceError where one cannot be read, or one or all together are too large.
    """
    files = tuple(map(_read_attachment, paths))
    total = sum(len(one.content) for one in files)
    if total > LARGEST_ATTACHMENTS_BYTES:
        raise SourceError(
            f"--attach: {total:,} bytes in all are more than {LARGEST_ATTACHMENTS_BYTES:,}.",
            "A record with them could hardly be handed on. Nothing was switched on.",
            "Attach fewer or smaller files.",
        )
    return files


def _read_attachment(path: Path) -> Attachment:
    try:
        with path.open("rb") as file:
            content = file.read(LARGEST_ATTACHMENT_BYTES + 1)
    except OSError as problem:
        raise SourceError(
            f"--attach {path}: cannot be read: {problem.strerror}.",
            "Nothing was switched on.",
            "Check its name, and that you may read it.",
        ) from None
    if len(content) > LARGEST_ATTACHMENT_BYTES:
        raise SourceError(
            f"--attach {path}: more than {LARGEST_ATTACHMENT_BYTES:,} bytes.",
            "Nothing was switched on.",
            "Attach a smaller one, such as the photo at a lower resolution.",
        )
    media_type, _ = mimetypes.guess_type(path.name)
    return attachment(path.name, media_type or "application/octet-stream", content)
