"""The paper that is issued with an approval, and how a later printing differs from it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

from ohmwright.engine.opening_events import SOFTWARE
from ohmwright.model.paper import IssuedPaper
from ohmwright.records.canonical_json import canonical_json
from ohmwright.reports.certificate import Certificate
from ohmwright.reports.certificate_text import CertificateText, certificate_text
from ohmwright.reports.pdf import CERTIFICATE_TEMPLATE

if TYPE_CHECKING:
    from .certificate_renderer import CertificateRenderer

_COPY = "Not the paper that was issued"
NOT_ON_RECORD = (
    f"{_COPY}, as far as is known: the record holds the approval and not which paper was issued."
)
OTHER_FILE = (
    f"{_COPY}: it says the same, and is another file, as by other fonts or another version of a "
    "library."
)


def issued_paper(renderer: CertificateRenderer) -> IssuedPaper:
    """The paper of an approved run as it is issued now, each of its files by its SHA-256."""
    certificate = renderer.certificate
    files = {"pdf": renderer.pdf(), "html": renderer.html()}
    return IssuedPaper(
        number=certificate.issue.number,
        software=SOFTWARE,
        template_sha256=layout_sha256(),
        own_pages_sha256=_own_pages_sha256(renderer.options.own_pages),
        text_sha256=_text_digest(renderer.sheet),
        files_sha256={kind: _digest(content) for kind, content in files.items()},
        trust_note=certificate.seal_note,
    )


def is_issued_file(content: bytes, kind: str, issued: IssuedPaper) -> bool:
    """Whether a file of that kind is the one that was issued."""
    return issued.files_sha256.get(kind) == _digest(content)


def copy_text(certificate: Certificate, sheet: CertificateText, own_pages: Path | None) -> str:
    """By what a paper is a copy and not the issued one; empty for that one and for a draft.

    A paper of a void run says that it is void, which nobody issued.
    """
    issued = certificate.issue.issued
    if certificate.is_draft or certificate.issue.void:
        return ""
    if issued is None:
        return NOT_ON_RECORD
    differs = ", ".join(_differences(certificate, sheet, own_pages, issued))
    if not differs:
        return ""
    return f"{_COPY}: made {differs}. {_same_words(certificate, sheet, issued)}."


def _same_words(certificate: Certificate, sheet: CertificateText, issued: IssuedPaper) -> str:
    """Whether it says what the issued paper says, as far as the hash of its words tells."""
    if _text_digest(sheet) == issued.text_sha256:
        return "It says the same"
    noted = certificate_text(replace(certificate, seal_note=issued.trust_note))
    if _text_digest(noted) == issued.text_sha256:
        return "It says the same but for the note on keys that signed"
    return "Its words differ; the record holds their hash alone, which does not tell in what"


def _differences(
    certificate: Certificate, sheet: CertificateText, own_pages: Path | None, issued: IssuedPaper
) -> Iterator[str]:
    """By what a paper differs from the issued one, as phrases after `made`."""
    if certificate.seal_note != issued.trust_note:
        yield "where the key of whoever issued it is not trusted"
    if layout_sha256() != issued.template_sha256:
        yield "by another layout"
    if _own_pages_sha256(own_pages) != issued.own_pages_sha256:
        yield "with other pages of the laboratory's own in front, or without them"
    same_text = _text_digest(sheet) == issued.text_sha256
    if not same_text and issued.software != SOFTWARE:
        yield f"by {SOFTWARE} instead of {issued.software}"
    elif not same_text and certificate.seal_note == issued.trust_note:
        yield "after more was declared of the run"


def layout_sha256() -> str:
    """SHA-256 of the layout of this version's certificates, in hexadecimal."""
    return _digest(CERTIFICATE_TEMPLATE.read_bytes())


def _own_pages_sha256(path: Path | None) -> str:
    return "" if path is None else _digest(path.read_bytes())


def _text_digest(sheet: CertificateText) -> str:
    """SHA-256 of everything that a paper says, in hexadecimal."""
    return _digest(canonical_json(sheet.document()))


def _digest(content: bytes) -> str:
    return sha256(content).hexdigest()
