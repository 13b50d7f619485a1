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
    template: Path = CERTIFICATE_TEMPLATE,
) -> bytes:
    """The bytes of the PDF, dated `at`; `record` (JSON Lines) is attached as record.jsonl.

    Raises SourceError for a template of somebody's own that cannot be typeset.
    """
    document = sheet.document() | {"logo": logo and logo.document()}
    return typeset(template, document, at=at, record=record)
