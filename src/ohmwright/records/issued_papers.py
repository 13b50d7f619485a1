"""Which paper a file is, of those that were issued with an approval."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path
from typing import Literal

from ohmwright.model.errors import UsageError
from ohmwright.model.typed_command import typed_command

from .addendum import Addendum, approvals_of, is_voided, one_key_words
from .seal import Seal
from .signed_contents import signatures
from .sql_store import SqlStore

FileState = Literal["in force", "no longer in force", "not a certificate", "unknown", "changed"]
"""`unknown`: it cannot be held against these records."""
_CALLS_ITSELF = re.compile(
    rb"(?i:((?:draft|copy) of a|void) )?"
    rb"(?i:certificate of calibration|report of measurement) ([\w.-]+)"
)
"""The title with the number, which PDF and HTML have uncompressed at their beginning or end."""


@dataclass(frozen=True)
class FoundPaper:
    """A file that is an issued paper, byte for byte."""

    path: str
    run: str
    certificate: str
    issued_by: str
    issued_at: str
    template_sha256: str
    """Of the layout of the PDF."""
    reservation: str
    """Who signed with one key; empty where each has a key of their own."""
    own_pages_sha256: str
    """Of what set the laboratory's own pages in front of it; empty for none."""
    since: str
    """What was declared since that puts it out of force; empty where nothing was."""
    pending: str
    """That an amendment is to replace it once it is approved; empty for none."""


@dataclass(frozen=True)
class CheckedFile:
    """What a file that somebody shows is, held against the records."""

    path: str
    state: FileState
    said: str
    """What it is, as a sentence."""
    paper: FoundPaper | None = None
    """The issued paper that it is, byte for byte."""


def checked_paper(store: SqlStore, path: Path) -> CheckedFile:
    """What a PDF or HTML is, by its bytes; a changed one by the title that it bears.

    Raises UsageError for a file that cannot be read.
    """
    content = file_content(path)
    signed = list(signatures(store.database))
    papers = list(_papers_of(signed, path, sha256(content).hexdigest()))
    if papers:
        return _known(papers[-1])
    found, number = _another(path, content, _issued_numbers(signed))
    is_void = run_of_number(number, store.run_ids()) in store.voided_run_ids()
    return replace(found, said=f"{found.said} Its run is VOID.") if is_void else found


def run_of_number(number: str, known: Collection[str]) -> str:
    """The run whose certificate has a number, among the runs `known`."""
    number = number.removesuffix("-draft")
    return number if number in known else re.sub(r"-\d+$", "", number)


def file_content(path: Path) -> bytes:
    """The bytes of a file that somebody shows. Raises UsageError."""
    try:
        return path.read_bytes()
    except OSError as problem:
        raise UsageError(f"--paper {path}: it cannot be read: {problem.strerror}.") from None


def _known(paper: FoundPaper) -> CheckedFile:
    named = f"certificate {paper.certificate} as it was issued"
    if paper.since:
        said = f"{named}, and NO LONGER IN FORCE: {paper.since}."
        return CheckedFile(paper.path, "no longer in force", said, paper)
    said = f"{named}, and in force. {paper.pending}".rstrip()
    return CheckedFile(paper.path, "in force", said, paper)


def _issued_numbers(signed: Sequence[Seal | Addendum]) -> frozenset[str]:
    issued = (one.statement.issued for one in signed if isinstance(one, Addendum))
    return frozenset(one.number for one in issued if one is not None)


def _another(path: Path, content: bytes, issued: frozenset[str]) -> tuple[CheckedFile, str]:
    """What a file is that nobody issued here, byte for byte, and the number that it bears."""
    title = _CALLS_ITSELF.search(content)
    if title is None:
        said = "no paper that was issued here, and it names no certificate: it cannot be checked."
        if path.suffix.lower() in (".svg", ".png"):
            said += f" Of a label give its hash: {typed_command('record verify --head HASH')}."
        return CheckedFile(f"{path}", "unknown", said), ""
    kind, number = ((title[one] or b"").decode(errors="replace") for one in (1, 2))
    if kind:
        word = {"draft of a": "a draft", "copy of a": "a copy"}.get(kind.lower(), "void")
        said = f"{word}, as it says itself, and no certificate that was issued."
        return CheckedFile(f"{path}", "not a certificate", said), number
    if number not in issued:
        said = (
            f"it calls itself certificate {number}, which was not issued in these records: it "
            "cannot be checked here."
        )
        return CheckedFile(f"{path}", "unknown", said), number
    said = (
        f"CHANGED: it calls itself certificate {number}, and is not, byte for byte, what was "
        "issued. Do not use it."
    )
    return CheckedFile(f"{path}", "changed", said), number


def _papers_of(signed: Sequence[Seal | Addendum], path: Path, digest: str) -> Iterator[FoundPaper]:
    """Yield the issued papers that have this SHA-256."""
    for at, one in enumerate(signed):
        said = None if isinstance(one, Seal) else one.statement
        if said is None or said.issued is None or digest not in said.issued.files_sha256.values():
            continue
        before, later = (
            [other for other in some if other.statement.run == said.run]
            for some in (signed[:at], signed[at + 1 :])
        )
        sealed = next((other.statement for other in before if isinstance(other, Seal)), None)
        approvals = approvals_of([other for other in before if isinstance(other, Addendum)])
        yield FoundPaper(
            path=str(path),
            run=said.run,
            certificate=said.issued.number,
            issued_by=said.operator,
            issued_at=f"{said.signed_at:%Y-%m-%d}",
            template_sha256=said.issued.template_sha256,
            reservation=one_key_words(sealed, approvals),
            own_pages_sha256=said.issued.own_pages_sha256,
            since=_since(later),
            pending=_pending(later),
        )


def _since(later: Sequence[Seal | Addendum]) -> str:
    """What was declared after a paper was issued that puts it out of force; empty for nothing.

    An amendment alone does not: whoever amends could undo what another person approved.
    """
    addenda = [one for one in later if isinstance(one, Addendum)]
    if is_voided(addenda):
        return "its run was declared void since"
    kinds = [one.statement.what for one in addenda]
    if "amended" in kinds and "approved" in kinds[kinds.index("amended") :]:
        return "an amended certificate replaced it since"
    if "issued" in kinds:
        return "it was issued anew with a further approval since"
    return ""


def _pending(later: Sequence[Seal | Addendum]) -> str:
    """That an amendment is to replace the paper, why and by whom; empty for none."""
    addenda = (one.statement for one in later if isinstance(one, Addendum))
    amended = [said for said in addenda if said.what == "amended"]
    if not amended:
        return ""
    said = amended[-1]
    return (
        f"An amendment of {said.signed_at:%Y-%m-%d} by {said.operator} replaces it once that is "
        f"approved: {said.reason.rstrip('.')}."
    )
