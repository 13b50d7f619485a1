"""A file that a run used, kept in its record in full text."""

from __future__ import annotations

from collections.abc import Iterable
from hashlib import sha256
from pathlib import Path
from typing import Literal

from pydantic import model_validator

from .base import FrozenModel

Role = Literal[
    "procedure",
    "bench",
    "analyzer data",
    "analyzer command set",
    "analyzer back end",
    "analyzer certificate",
    "generator data",
    "generator command set",
    "generator back end",
    "given values",
]


class DocumentRef(FrozenModel):
    """The role of a document and the SHA-256 of its text in UTF-8, in hexadecimal."""

    role: Role
    sha256: str


class Document(FrozenModel):
    """One file in full text; refused where the text does not fit its digest."""

    role: Role
    name: str
    """Of the file that it was read from, without its folder."""
    sha256: str
    text: str

    @model_validator(mode="after")
    def _digest_fits(self) -> Document:
        if self.sha256 != digest_of(self.text):
            raise ValueError(f"the text of the {self.role} '{self.name}' does not fit its SHA-256")
        return self

    @property
    def ref(self) -> DocumentRef:
        """The role and digest of the document."""
        return DocumentRef(role=self.role, sha256=self.sha256)


def document(role: Role, path: Path, text: str) -> Document:
    """The document made of `text`, which was read from `path`."""
    return Document(role=role, name=path.name, sha256=digest_of(text), text=text)


def digest_of(text: str) -> str:
    """SHA-256 of `text` in UTF-8, in hexadecimal."""
    return sha256(text.encode()).hexdigest()


def changed_roles(
    now: Iterable[DocumentRef], before: Iterable[DocumentRef], roles: Iterable[Role]
) -> tuple[Role, ...]:
    """Those of `roles` whose document differs between `before` and `now`, in the order of `roles`.

    A role that is missing on either side counts as unchanged.
    """
    was = {ref.role: ref.sha256 for ref in before}
    new = {ref.role: ref.sha256 for ref in now}
    return tuple(r for r in roles if r in was and r in new and was[r] != new[r])
