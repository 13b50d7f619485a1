"""The documents that a record keeps in full, found by their role."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from ohmwright.model.document import Document, Role
from ohmwright.model.errors import ProcedureError
from ohmwright.model.event import RunResumed, RunStarted
from ohmwright.model.source import parse

from .procedure import Procedure


def kept_document(
    part: RunStarted | RunResumed, kept: Mapping[str, Document], role: Role
) -> Document | None:
    """Return the document of that role that a run or its part goes by; None where none is kept.

    `kept`: the documents on record so far, by SHA-256.
    """
    digest = next((one.sha256 for one in part.documents if one.role == role), "")
    return kept.get(digest)


def kept_table(
    part: RunStarted | RunResumed, kept: Mapping[str, Document], role: Role
) -> Mapping[str, Any]:
    """Return the kept document of that role as a table; empty without one, or where no TOML."""
    document = kept_document(part, kept, role)
    return {} if document is None else _parsed(document.text)


@lru_cache(maxsize=64)
def _parsed(text: str) -> Mapping[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return {}


@lru_cache(maxsize=64)
def read_kept_procedure(document: Document) -> Procedure | None:
    """Return a kept procedure; None where it cannot be read here, as with steps of a package."""
    try:
        return parse(Path(document.name), document.text, Procedure, error=ProcedureError)
    except ProcedureError:
        return None
