"""Which paper a file is, of those that were issued with an approval."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from ohmwright.model.errors import UsageError

from .addendum import Addendum, is_voided
from .audit_finding import AuditFinding
from .queries import signatures
from .seal import Seal
from .sql_store import SqlStore


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
    """That one key signed for what should be two people; empty where it did not."""
    own_pages_sha256: str
    """Of what set the laboratory's own pages in front of it; empty for none."""
    since: str
    """What was declared since that takes its worth; empty where it is the valid one."""


def issued_papers(
    store: SqlStore, paths: Sequence[Path]
) -> tuple[list[FoundPaper], list[AuditFinding]]:
    """The files that are issued papers, and a finding for each that is none or is not valid."""
    found: list[FoundPaper] = []
    findings: list[AuditFinding] = []
    for path in paths:
        papers = list(_papers_of(store, path))
        found += papers[-1:]
        findings += [_no_paper(path)] if not papers else _no_longer_valid(papers[-1])
    return found, findings


def _no_paper(path: Path) -> AuditFinding:
    what = f"{path} is no PDF or HTML that was issued here: a draft, a copy, changed, or another's"
    if path.suffix.lower() not in (".pdf", ".html"):
        what = (
            f"{path} cannot be held against the record: PDF and HTML are what is issued. The "
            "signature of a DCC is checked by any program for XML signatures"
        )
    return AuditFinding(what, kind="unknown")


def _no_longer_valid(paper: FoundPaper) -> Iterator[AuditFinding]:
    if paper.since:
        what = f"{paper.path} was issued as certificate {paper.certificate}, and {paper.since}"
        yield AuditFinding(what, paper.run, kind="unknown")


def _papers_of(store: SqlStore, path: Path) -> Iterator[FoundPaper]:
    """Yield the issued papers whose bytes are those of the file. Raises UsageError."""
    digest = _digest(path)
    signed = list(signatures(store.database))
    for at, one in enumerate(signed):
        said = None if isinstance(one, Seal) else one.statement
        if said is None or said.issued is None or digest not in said.issued.files_sha256.values():
            continue
        later = [
            other
            for other in signed[at + 1 :]
            if isinstance(other, Addendum) and other.statement.run == said.run
        ]
        number, when = said.issued.number, f"{said.signed_at:%Y-%m-%d}"
        yield FoundPaper(
            path=str(path),
            run=said.run,
            certificate=number,
            issued_by=said.operator,
            issued_at=when,
            template_sha256=said.issued.template_sha256,
            reservation=_reservation(signed, said.run),
            own_pages_sha256=said.issued.own_pages_sha256,
            since=_since(later),
        )


def _reservation(signed: Sequence[Seal | Addendum], run: str) -> str:
    """That a key of the approvals also sealed the record, or approved for two names."""
    names: dict[str, list[str]] = {}
    for one in signed:
        said = one.statement
        if said.run != run or (isinstance(one, Addendum) and one.statement.what != "approved"):
            continue
        role = "sealed the record" if isinstance(one, Seal) else "approved"
        names.setdefault(said.key, []).append(f"{role} as {said.operator}")
    shared = [", ".join(dict.fromkeys(done)) for done in names.values() if len(done) > 1]
    return f"One key {'; one '.join(shared)}: it proves no second person. " if shared else ""


def _since(later: list[Addendum]) -> str:
    """What was declared after a paper was issued that takes its worth; empty for nothing."""
    if is_voided(later):
        return "its run was declared void since"
    kinds = [one.statement.what for one in later]
    if "amended" in kinds:
        return "it was replaced by an amendment since"
    if "issued" in kinds:
        return "it was issued anew with a further approval since"
    return ""


def _digest(path: Path) -> str:
    try:
        return sha256(path.read_bytes()).hexdigest()
    except OSError as problem:
        raise UsageError(f"--paper {path}: it cannot be read: {problem.strerror}.") from None
