"""The certificate as PDF/A-3b, with the record attached."""

from __future__ import annotations

from datetime import datetime

from .certificate_text import CertificateText
from .typesetting import typeset


def certificate_pdf(sheet: CertificateText, at: datetime, record: str = "") -> bytes:
    """The bytes of the PDF, dated `at`; `record` (JSON Lines) is attached as record.jsonl."""
    return typeset("certificate.typ", sheet.document(), at=at, record=record)
