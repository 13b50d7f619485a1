"""The issue of a certificate: its number, who approved it, what it replaces, whether it is void."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from ohmwright.model.paper import Authority, IssuedPaper, PaperChange, PaperData
from ohmwright.records.addendum import Addendum, is_voided

from .text import minute_text, printable

NOTHING_TOLD = PaperData()
_PAST = {"voided": "declared void", "reinstated": "declared valid again"}


@dataclass(frozen=True)
class Signature:
    """Who approved an issue: the second signature."""

    name: str
    at: datetime
    fingerprint: str
    same_key: bool
    """Whether the same key sealed the record, so that it proves no second person."""
    authority: Authority | None = None

    @property
    def key_words(self) -> str:
        """The key's fingerprint, whether it also sealed the record, and by what it may approve."""
        also = ", which also sealed the record" if self.same_key else ""
        return f"{self.fingerprint}{also}; {authority_text(self.authority)}"


def authority_text(authority: Authority | None) -> str:
    """Who authorised somebody, and by what they were known; that nothing restricts who may."""
    if authority is None:
        return "who may do so is not restricted"
    how = "name alone" if authority.by == "name" else authority.by
    return printable(f"authorised by {authority.laboratory}, known by {how}")


@dataclass(frozen=True)
class Issue:
    """Which issue of a run's certificate it is, and what is stated beside the record."""

    number: str
    """Number of this certificate: the run's, with `-2` and so on from the second issue on."""
    replaces: str = ""
    """The number of the issue that it replaces."""
    amendments: tuple[str, ...] = ()
    """Why each issue replaced the one before, as printable text."""
    approvals: tuple[Signature, ...] = ()
    """Of this issue; while there is none, its papers are drafts."""
    issued: IssuedPaper | None = None
    """The paper that was issued with the newest approval; None where the record does not say."""
    void: str = ""
    """Who declared the run void, when and why; empty where it is not void."""
    remarks: tuple[str, ...] = ()
    """Earlier declarations about its validity."""
    paper: PaperData = NOTHING_TOLD
    on_record: bool = False
    """Whether `paper` is part of the record."""
    amended_at: datetime | None = None

    @property
    def issued_on(self) -> date | None:
        """The day of the newest approval; None while nobody has approved it."""
        return self.approvals[-1].at.date() if self.approvals else None


def issue_of(
    run_id: str,
    addenda: Sequence[Addendum],
    given: PaperData | None = None,
    sealed_by: str | None = None,
) -> Issue:
    """The newest issue; `given` is stated where the record holds no such data.

    `sealed_by`: the public key that sealed the record.
    """
    kept = [one.statement.paper for one in addenda if one.statement.paper is not None]
    amended = [one for one in addenda if one.statement.what == "amended"]
    numbers = [run_id, *(f"{run_id}-{n}" for n in range(2, len(amended) + 2))]
    words = [one for one in addenda if one.statement.what in _PAST]
    void = words[-1:] if is_voided(addenda) else []
    return Issue(
        number=numbers[-1],
        replaces=numbers[-2] if amended else "",
        amendments=tuple(map(_amendment_text, numbers, numbers[1:], amended)),
        approvals=tuple(_approvals(addenda, sealed_by)),
        issued=_issued(addenda),
        void="".join(map(_declaration_text, void)),
        remarks=tuple(map(_declaration_text, words[: len(words) - len(void)])),
        paper=kept[-1] if kept else given or NOTHING_TOLD,
        on_record=bool(kept),
        amended_at=amended[-1].statement.signed_at if amended else None,
    )


def addendum_lines(run_id: str, addenda: Sequence[Addendum]) -> list[str]:
    """What was said of a run after it ended, a line each: void, amendments, approvals."""
    issue = issue_of(run_id, addenda)
    lines = [f"VOID: {issue.void}"] if issue.void else []
    lines += [*issue.amendments, *issue.remarks]
    lines += [
        f"Certificate {issue.number} approved by {one.name}, {minute_text(one.at)}, key "
        f"{one.key_words}"
        for one in issue.approvals
    ]
    return lines


def _approvals(addenda: Sequence[Addendum], sealed_by: str | None) -> list[Signature]:
    """The approvals of the newest issue: those after the last amendment."""
    found: list[Signature] = []
    for one in addenda:
        said = one.statement
        if said.what == "amended":
            found = []
        elif said.what == "approved":
            same = said.key == sealed_by
            name = printable(said.operator)
            signed = Signature(name, said.signed_at, one.fingerprint, same, said.authority)
            found.append(signed)
    return found


def _issued(addenda: Sequence[Addendum]) -> IssuedPaper | None:
    """The paper of the newest approval; None where it names none, or an amendment came after it."""
    found = None
    for one in addenda:
        if one.statement.what in ("approved", "issued", "amended"):
            found = one.statement.issued
    return found


def _amendment_text(old: str, new: str, addendum: Addendum) -> str:
    """That one issue replaces another, why, by whom and when."""
    said = addendum.statement
    return printable(
        f"{new} replaces {old}, which is no longer valid: {said.reason.rstrip('.')} "
        f"({said.operator}, {minute_text(said.signed_at)}; {authority_text(said.authority)})."
        f"{_changes_text(said.changes)}"
    )


def _changes_text(changes: Sequence[PaperChange] | None) -> str:
    """What an amendment changed, as a sentence; empty where the record does not say."""
    if changes is None:
        return ""
    if not changes:
        return " Changed: nothing of what stands beside the results."
    each = "; ".join(f"{one.field} from '{one.old}' to '{one.new}'" for one in changes)
    return f" Changed: {each}. No result was changed."


def _declaration_text(addendum: Addendum) -> str:
    """That the run was declared void or valid again, by whom, when and why."""
    said = addendum.statement
    return printable(
        f"{minute_text(said.signed_at)}, {said.operator} ({authority_text(said.authority)}): "
        f"{_PAST[said.what]}: {said.reason}"
    )
