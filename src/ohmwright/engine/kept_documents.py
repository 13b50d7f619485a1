"""The documents that a record keeps in full, found by their role."""

from __future__ import annotations

from collections.abc import Mapping

from ohmwright.model.document import Document, Role
from ohmwright.model.event import RunResumed, RunStarted


def kept_document(
    part: RunStarted | RunResumed, kept: Mapping[str, Document], role: Role
) -> Document | None:
    """Return the document of that role that a run or its part goes by; None where none is kept.

    `kept`: the documents on record so far, by SHA-256.
    """
    digest = next((one.sha256 for one in part.documents if one.role == role), "")
    return kept.get(digest)
