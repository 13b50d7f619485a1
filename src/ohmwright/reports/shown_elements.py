"""Whether a paper by a laboratory's own template shows what every certificate must say."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator
from pathlib import Path

from ohmwright.model.errors import SourceError

from .certificate_text import CertificateText
from .result_tables import ResultCells
from .typesetting import shipped_characters
from .visible_text import visible_text

NamedElement = tuple[str, str]
"""What it is, and its text on the paper."""
_MOST_NAMED = 6
_DROPPED = dict.fromkeys(map(ord, "\u200b\u00ad"))
"""Places to break a word, which a paper may have and its data has not."""


def refuse_hidden_elements(pdf: bytes, sheet: CertificateText, template: Path) -> None:
    """Raise SourceError, naming what is missing, unless the PDF shows all of `elements`.

    Text in characters that its fonts may lack, or that run from right to left, is not looked for.
    """
    seen = _folded(visible_text(pdf))
    wanted = [(what, text) for what, text in elements(sheet) if _is_looked_for(text)]
    texts = [_folded(text) for _, text in wanted]
    # a verdict, say, also stands in sentences, which must be there besides
    lacking = {one for one in {*texts} if seen.count(one) < sum(text.count(one) for text in texts)}
    missing = dict.fromkeys(f"{what} '{text}'" for what, text in wanted if _folded(text) in lacking)
    if not missing:
        return
    named, more = list(missing)[:_MOST_NAMED], len(missing) - _MOST_NAMED
    rest = f" and {more} more" if more > 0 else ""
    raise SourceError(
        f"{template}: the paper that it makes does not show {', '.join(named)}{rest}.",
        "A certificate that lacks it, or has it in white, tiny or beside the page, could mislead. "
        "No paper was written.",
        "Show each of them; 'ohmwright guide certificates' has an example that does.",
    )


def elements(sheet: CertificateText) -> Iterator[NamedElement]:
    """Yield all that a paper must show, each as often as it must be there."""
    yield from _standing(sheet)
    yield "the number", sheet.number
    yield "the day of the work", sheet.done
    yield "the laboratory", sheet.letterhead.name
    for name, facts in sheet.facts:
        yield from ((f"{name}: {label}", value) for label, value in facts)
    for group in sheet.groups:
        yield f"what is required in {group.step}", group.requirement
        for row in group.rows:
            yield "the point", row.point
            yield f"the limits of {row.point}", row.limits
            yield f"what is accepted at {row.point}", row.accepted
            yield f"what is required of {row.point}", row.requirement
            yield f"what was compared at {row.point}", row.compared
            for cells in (row.found, row.left):
                yield from _result(row.point, cells)
    for one in sheet.adjustments:
        yield "the adjusted point", one.point
        yield f"the trim of {one.point}", one.trim
        yield from _result(one.point, one.left)
    yield from _sentences(sheet)
    yield "who carried it out", sheet.carried_out_by
    yield from (("who approved it", name) for name, _, _ in sheet.approvals)
    yield "the hash of the record", sheet.head


def _standing(sheet: CertificateText) -> Iterator[NamedElement]:
    """What the paper is worth: void, draft, copy, simulated; else its verdict."""
    for word in ("void", "draft", "copy", "simulated"):
        if said := getattr(sheet, word):
            yield "the word", word.upper()
            yield f"what is said of {word}", said
    if not sheet.void:
        yield "the verdict of the whole", sheet.verdict


def _result(point: str, cells: ResultCells) -> Iterator[NamedElement]:
    """Value, U and verdict of one result."""
    yield f"the value of {point}", cells.value
    yield f"U of {point}", cells.expanded
    yield f"the verdict of {point}", cells.verdict


def _sentences(sheet: CertificateText) -> Iterator[NamedElement]:
    """The sentences that say what results mean and what befell the work."""
    kinds: tuple[tuple[str, Iterable[str]], ...] = (
        ("the decision rule", sheet.rules),
        ("the reason", sheet.reasons),
        ("the interruption", sheet.interruptions),
        ("the remark", sheet.remarks),
        ("the protection", sheet.protections),
        ("the note", sheet.notes),
        ("the statement", sheet.statements),
        ("the caution", sheet.cautions),
    )
    for kind, said in kinds:
        yield from ((kind, one) for one in said)


def _folded(text: str) -> str:
    """Text as it is compared: without spaces, places to break, capitals and ligatures."""
    plain = unicodedata.normalize("NFKC", "".join(text.split())).translate(_DROPPED)
    return plain.casefold()


def _is_looked_for(text: str) -> bool:
    """Whether a paper has text in the characters and the order in which it is written."""
    known = shipped_characters()
    return bool(text) and all(
        (char in known or char.isspace()) and unicodedata.bidirectional(char) not in ("R", "AL")
        for char in text
    )
