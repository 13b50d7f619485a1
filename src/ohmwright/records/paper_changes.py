"""What an amendment changes of what papers state beside the record, field by field."""

from __future__ import annotations

from base64 import b64decode
from collections.abc import Iterator
from hashlib import sha256

from ohmwright.model.paper import PaperChange, PaperData, Party

AS_IN_THE_RECORD, OF_UNIT = "as in the record", "the unit's "
"""What stands for a detail of the unit that is not corrected, and before the name of each."""
_NOTHING = "nothing"
_DIGITS = 12


def paper_changes(before: PaperData | None, after: PaperData | None) -> tuple[PaperChange, ...]:
    """Every field that differs, as text; none where `after` is None and leaves all as it is.

    `before`: None where the record had nothing yet.
    """
    if after is None:
        return ()
    old, new = dict(_fields(before or PaperData())), dict(_fields(after))
    return tuple(
        PaperChange(field=name, old=old[name] or _unset(name), new=new[name] or _unset(name))
        for name in new
        if old[name] != new[name]
    )


def _unset(name: str) -> str:
    return AS_IN_THE_RECORD if name.startswith(OF_UNIT) else _NOTHING


def _fields(paper: PaperData) -> Iterator[tuple[str, str]]:
    """Yield each field's name on papers and its text, empty where it says nothing."""
    yield "laboratory", _party(paper.laboratory)
    yield "country", paper.country or ""
    yield "accreditation", paper.accreditation
    yield "customer", _party(paper.customer)
    yield "place", paper.place
    yield "date of receipt", "" if paper.received_on is None else f"{paper.received_on}"
    yield "condition", paper.condition
    yield "statements", " ".join(paper.statements)
    for name, text in paper.corrections:
        yield f"{OF_UNIT}{name}", text
    digest = "" if paper.logo is None else sha256(b64decode(paper.logo.base64)).hexdigest()
    yield "logo", f"picture with SHA-256 {digest[:_DIGITS]}…" if digest else ""


def _party(party: Party | None) -> str:
    return "" if party is None else ", ".join((party.name, *party.address))
