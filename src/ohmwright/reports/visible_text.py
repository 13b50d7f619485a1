"""The text of a PDF that a reader can see: not too small, not white, not beside the page."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pypdf import PageObject

_SMALLEST_PT = 3.5
_FAINTEST = 0.93
"""Lightest grey, or colour in each of its parts, that counts as seen on white; white is 1."""


def visible_text(pdf: bytes) -> str:
    """The text of all pages that can be seen, without spaces.

    What another shape covers is not noticed.
    """
    from pypdf import PdfReader

    pages = PdfReader(BytesIO(pdf)).pages
    return "".join("".join(part.split()) for page in pages for part in _Page(page).seen)


class _Page:
    """The pieces of text of one page that can be seen, in the order in which they were set."""

    def __init__(self, page: PageObject) -> None:
        self._box = page.mediabox
        self._white = False
        self._outer: list[bool] = []
        self.seen: list[str] = []
        page.extract_text(visitor_operand_before=self._operator, visitor_text=self._text)

    def _operator(self, operator: bytes, operands: Sequence[Any], *_: object) -> None:
        """Follow which colour text is filled with."""
        match operator:
            case b"q":
                self._outer.append(self._white)
            case b"Q":
                self._white = self._outer.pop() if self._outer else False
            case b"g" | b"rg" | b"sc" | b"scn":
                parts = [float(one) for one in operands if not isinstance(one, str)]
                self._white = bool(parts) and min(parts) >= _FAINTEST
            case b"k":
                self._white = max(map(float, operands)) <= 1 - _FAINTEST
            case b"cs":
                self._white = False

    def _text(
        self, text: str, cm: Sequence[float], tm: Sequence[float], _: object, size: float
    ) -> None:
        """Keep a piece of text where it can be seen."""
        x = tm[4] * cm[0] + tm[5] * cm[2] + cm[4]
        y = tm[4] * cm[1] + tm[5] * cm[3] + cm[5]
        height = abs(size) * (tm[2] ** 2 + tm[3] ** 2) ** 0.5 * (cm[2] ** 2 + cm[3] ** 2) ** 0.5
        inside = self._box.left <= x <= self._box.right and self._box.bottom <= y <= self._box.top
        if inside and height >= _SMALLEST_PT and not self._white:
            self.seen.append(text)
