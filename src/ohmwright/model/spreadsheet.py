"""Text in the cells of a CSV file that no spreadsheet computes as a formula."""

from __future__ import annotations

import re

_SIGN = r"(?=[=+\-@＝＋－＠])"
# a separator of another locale may cut a cell in two, so what follows one counts as a beginning
_BEGINNING = r"(^|[;,|])([\s\"']*)"
_FORMULA = re.compile(_BEGINNING + _SIGN)
_MADE_TEXT = re.compile(_BEGINNING + "'" + _SIGN)


def without_formulas(text: str) -> str:
    """Return `text` with an apostrophe before each sign by which a formula begins: `'=1+1`."""
    return _FORMULA.sub(r"\1\2'", text)


def as_it_was(cell: str) -> str:
    """Return the text of which `without_formulas` made this."""
    return _MADE_TEXT.sub(r"\1\2", cell)
