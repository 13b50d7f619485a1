"""The issue of a certificate: its number, who approved it, what it replaces, whether it is void."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise

from ohmwright.model.bench_file import Asset
from ohmwright.model.paper import Authority, IssuedPaper, PaperChange, PaperData
from ohmwright.records.addendum import Addendum, approvals_of, is_voided, one_key_words
from ohmwright.records.paper_changes import AS_IN_THE_RECORD, OF_UNIT
from ohmwright.records.seal import SealStatement

from .text import minute_text, printable

NOTHING_TOLD = PaperData()
_PAST = {"voided": "declared void", "reinstated": "declared valid again"}


@dataclass(frozen=True)
class Signature:
    """Who approved an issue: the second signature."""

    name: str
    at: datetime
    fingerprint: str
    authority: Authority | None = None

    @property
    def key_words(self) -> str:
        """The key's fingerprint, and by what its owner may approve."""
        return f"{self.fingerprint}; {authority_text(self.authority)}"


def authority_text(authority: Authority | None) -> str:
    """Who authorised somebody, and by what they were known; that nothing restricts who may."""
    if authority is None:
        return "who may do so is not restricted"
    key = "no key" if authority.by == "name" else "key"
    return printable(f"authorised by {authority.laboratory}, whose list has this name and {key}")


@dataclass(frozen=True)
class Issue:
    """Which issue of a run's certificate it is, and what is stated beside the record."""

    number: str
    """Number of this certificate: the run's, with `-2` and so on from the second issue on."""
    replaces: str = ""
    """The number of the issue that it replaces, or is to replace."""
    in_force: str = ""
    """The number of the newest issue that was approved; empty for none, and of a void run."""
    amendments: tuple[str, ...] = ()
    """Why each issue replaced the one before, as printable text."""
    approvals: tuple[Signature, ...] = ()
    """Of this issue; while there is none, its papers are drafts."""
    one_key: str = ""
    """Who signed with one key, of those who sealed the record and approved this issue."""
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
    sealed: SealStatement | None = None,
    unit: Asset | None = None,
) -> Issue:
    """The newest issue; `given` is stated where the record holds no such data.

    `sealed`: who sealed the record, and by which key; `unit`: as it is in the record, which the
    words on an amendment quote; None where they do not matter.
    """
    kept = [one.statement.paper for one in addenda if one.statement.paper is not None]
    amended = [one for one in addenda if one.statement.what == "amended"]
    numbers = [run_id, *(f"{run_id}-{n}" for n in range(2, len(amended) + 2))]
    words = [one for one in addenda if one.statement.what in _PAST]
    approvals = approvals_of(addenda)
    one_key = one_key_words(sealed, approvals)
    void = words[-1:] if is_voided(addenda) else []
    return Issue(
        number=numbers[-1],
        replaces=numbers[-2] if amended else "",
        in_force="" if void else _newest_approved(numbers, addenda),
        amendments=tuple(_amendment_texts(numbers, addenda, unit)),
        approvals=tuple(map(_signature, approvals)),
        one_key=printable(one_key) if one_key else "",
        issued=_issued(addenda),
        void="".join(map(_declaration_text, void)),
        remarks=tuple(map(_declaration_text, words[: len(words) - len(void)])),
        paper=kept[-1] if kept else given or NOTHING_TOLD,
        on_record=bool(kept),
        amended_at=amended[-1].statement.signed_at if amended else None,
    )


def addendum_lines(
    run_id: str,
    addenda: Sequence[Addendum],
    sealed: SealStatement | None = None,
    unit: Asset | None = None,
) -> list[str]:
    """What was said of a run after it ended, a line each: void, amendments, approvals.

    `sealed` and `unit`: as for `issue_of`.
    """
    issue = issue_of(run_id, addenda, sealed=sealed, unit=unit)
    lines = [f"VOID: {issue.void}"] if issue.void else []
    lines += [*issue.amendments, *issue.remarks]
    lines += [
        f"Certificate {issue.number} approved by {one.name}, {minute_text(one.at)}, key "
        f"{one.key_words}"
        for one in issue.approvals
    ]
    return [*lines, *filter(None, (issue.one_key,))]


def _signature(approval: Addendum) -> Signature:
    said = approval.statement
    return Signature(printable(said.operator), said.signed_at, approval.fingerprint, said.authority)


def _issued(addenda: Sequence[Addendum]) -> IssuedPaper | None:
    """The paper of the newest approval; None where it names none, or an amendment came after it."""
    found = None
    for one in addenda:
        if one.statement.what in ("approved", "issued", "amended"):
            found = one.statement.issued
    return found


def _newest_approved(numbers: Sequence[str], addenda: Sequence[Addendum]) -> str:
    """The number of the newest issue that was approved; empty for none."""
    issue, found = 0, ""
    for one in addenda:
        if one.statement.what == "amended":
            issue += 1
        elif one.statement.what == "approved":
            found = numbers[issue]
    return found


def _amendment_texts(
    numbers: Sequence[str], addenda: Sequence[Addendum], unit: Asset | None
) -> Iterator[str]:
    """That each issue replaces the one before, or is to; why, by whom and when.

    `numbers`: of the issues. One that was approved is in force until a later one is: whoever amends
    alone does not undo what another person approved. None of a void run is.
    """
    approved, is_void = _newest_approved(numbers, addenda), is_voided(addenda)
    amended = (one.statement for one in addenda if one.statement.what == "amended")
    for (old, new), said in zip(pairwise(numbers), amended, strict=True):
        now = f"{new} replaces {old}, which is no longer valid"
        if numbers.index(new) > numbers.index(approved or numbers[0]):
            until = f"; until then {approved} is in force" if approved and not is_void else ""
            now = f"{new} is to replace {old} once it is approved{until}"
        yield printable(
            f"{now}: {said.reason.rstrip('.')} ({said.operator}, {minute_text(said.signed_at)}; "
            f"{authority_text(said.authority)}).{_changes_text(said.changes, unit)}"
        )


def _changes_text(changes: Sequence[PaperChange] | None, unit: Asset | None) -> str:
    """What an amendment changed, as a sentence; empty where the record does not say."""
    if changes is None:
        return ""
    if not changes:
        return " Changed: nothing of what stands beside the results."
    each = (
        f"{one.field} from {_quoted(one.old, one.field, unit)} to "
        f"{_quoted(one.new, one.field, unit)}"
        for one in changes
    )
    return f" Changed: {'; '.join(each)}. No result was changed."


def _quoted(text: str, field: str, unit: Asset | None) -> str:
    """Return a text of a field in quotation marks; one that stands in the record from there."""
    if text != AS_IN_THE_RECORD or unit is None:
        return f"'{text}'"
    return f"'{getattr(unit, field.removeprefix(OF_UNIT))}' (in the record)"


def _declaration_text(addendum: Addendum) -> str:
    """That the run was declared void or valid again, by whom, when and why."""
    said = addendum.statement
    return printable(
        f"{minute_text(said.signed_at)}, {said.operator} ({authority_text(said.authority)}): "
        f"{_PAST[said.what]}: {said.reason}"
    )
