"""The documents that a record keeps in full, found by their role, along the events of a run."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from ohmwright.model.document import Document, Role
from ohmwright.model.errors import ProcedureError
from ohmwright.model.event import DocumentKept, Event, RunResumed, RunStarted
from ohmwright.model.toml_text import decoded

from .procedure import Procedure


@dataclass(frozen=True)
class DocumentedPart:
    """A run, or what was resumed of it, and the documents on record so far."""

    began: RunStarted | RunResumed
    _kept: Mapping[str, Document]
    """By SHA-256; those of this part follow its beginning."""

    def document(self, role: Role) -> Document | None:
        """Return the document of that role that it goes by; None where none is kept."""
        named = (one.sha256 for one in self.began.documents if one.role == role)
        return self._kept.get(next(named, ""))

    def table(self, role: Role) -> Mapping[str, Any]:
        """Return the document of that role as a table; empty without one, or where no TOML."""
        document = self.document(role)
        return {} if document is None else _parsed(document.text)


def with_parts(events: Iterable[Event]) -> Iterator[tuple[int, Event, DocumentedPart | None]]:
    """Yield each event with its number and the part that it is of, from whose beginning on.

    None before the first. The documents of a part are complete at its first event that keeps none.
    """
    kept: dict[str, Document] = {}
    part: DocumentedPart | None = None
    for number, event in enumerate(events, start=1):
        if isinstance(event, DocumentKept):
            kept[event.document.sha256] = event.document
        elif isinstance(event, RunStarted | RunResumed):
            part = DocumentedPart(event, kept)
        yield number, event, part


@lru_cache(maxsize=64)
def _parsed(text: str) -> Mapping[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return {}


@lru_cache(maxsize=64)
def read_kept_procedure(document: Document) -> Procedure | None:
    """Return a kept procedure; None where it cannot be read here, as with steps of a package.

    What is refused of a new file since, as a number in quotes, is read.
    """
    try:
        table = decoded(Path(document.name), document.text, ProcedureError)
        return Procedure.model_validate(table)
    except (ProcedureError, ValidationError):
        return None
