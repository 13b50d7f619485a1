"""The certificate as PDF/A-3b, with the record attached."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from .certificate_text import CertificateText
from .typesetting import TEMPLATES, Picture, typeset

CERTIFICATE_TEMPLATE = TEMPLATES / "certificate.typ"


def certificate_pdf(
    sheet: CertificateText,
    at: datetime,
    record: str = "",
    *,
    logo: Picture | None = None,
    own_pages: Path | None = None,
) -> bytes:
    """The bytes of the PDF, dated `at`; `record` (JSON Lines) is attached as record.jsonl.

    `own_pages`: a typst file that sets pages of the laboratory's own, which come before the
    certificate. Raises SourceError where it cannot be typeset.
    """
    document = sheet.document() | {"logo": logo and logo.document()}
    return typeset(CERTIFICATE_TEMPLATE, document, at=at, record=record, own_pages=own_pages)
