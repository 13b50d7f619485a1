"""What `record verify` says of records and of files that somebody shows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from ohmwright.api.issued_paper import layout_sha256
from ohmwright.model.typed_command import typed_command
from ohmwright.records.audit_finding import AuditFinding, FindingKind
from ohmwright.records.flat_rows import Row
from ohmwright.records.issued_papers import CheckedFile, FoundPaper
from ohmwright.records.signed_contents import UnhashedEntries
from ohmwright.reports.text import counted

from .store_check import StoreCheck

_NAMED = 20
"""How many values that were not computed once more are named for each reason; JSON names more."""
_PREFIXES: dict[FindingKind, str] = {
    "wrong": "",
    "unknown": "Not known to be good: ",
    "warning": "Warning: ",
}


def finding_line(finding: AuditFinding) -> str:
    """What was found, and in which run; of the whole store, what is no damage stands by itself."""
    said = f"{finding}" if finding.run or finding.kind == "wrong" else finding.what
    return f"{_PREFIXES[finding.kind]}{said}"


def recomputed_words(values: Mapping[str, int]) -> str:
    """How many values were computed once more, and how many not and why.

    `values`: how many by the reason why not; under "" those that were.
    """
    done = f"{_counted(values)} from their readings"
    left = [f"{count} not: {why}" for why, count in sorted(values.items()) if why]
    return f"{done[0].upper()}{done[1:]}{''.join(f'; {one}' for one in left)}."


def _counted(values: Mapping[str, int]) -> str:
    """How many of all values were computed once more."""
    done = values.get("", 0)
    return f"{done or 'none'} of {sum(values.values())} values computed once more"


def named_words(why: str, named: Sequence[str], count: int) -> str:
    """Which values were not computed once more for one reason: the first of `count`."""
    shown = named[:_NAMED]
    more = "" if len(shown) == count else f"; and {count - len(shown)} more"
    return f"Not computed once more, {why}: {'; '.join(shown)}{more}."


def issue_line(paper: FoundPaper) -> str:
    """Who issued a paper and when, whether one key signed twice, and by which layout."""
    issued = f"issued {paper.issued_at} by {paper.issued_by} as certificate {paper.certificate}"
    one_key = f"{paper.reservation} " if paper.reservation else ""
    return f"{paper.path}: {issued}. {one_key}Laid out by {_layout(paper)}."


def _layout(paper: FoundPaper) -> str:
    """Which layout a paper has: by its hash where it is not this version's own."""
    layout = (
        "this program's own layout"
        if paper.template_sha256 == layout_sha256()
        else f"the layout with SHA-256 {paper.template_sha256}, which is not this version's"
    )
    if not paper.own_pages_sha256:
        return layout
    return f"{layout}, behind the laboratory's own pages of SHA-256 {paper.own_pages_sha256}"


def run_line(row: Row) -> str:
    """Which unit a run is of and its verdict, to be held against a label or paper with its hash."""
    unit = f"{row['asset']}, {row['model']}, serial {row['serial']}"
    verdict = "VOID" if row["voided"] else row["verdict"] or "not finished"
    return f"Run {row['run_id']}: {unit}; {row['at'][:10]}; {verdict}."


def unhashed_words(unhashed: UnhashedEntries) -> str:
    """What was not checked, for it has no hashes; empty where there is nothing of it."""
    units, campaigns = counted(unhashed.units, "unit"), counted(unhashed.campaigns, "campaign")
    named = [f"the register of {units}"] if unhashed.units else []
    named += [campaigns] if unhashed.campaigns else []
    return f"Not checked, without hashes: {' and '.join(named)}." if named else ""


def newest_entry_line(check: StoreCheck) -> str:
    """The newest entry of the ledger, to be compared with what somebody noted."""
    newest = check.newest
    return f"Newest entry of these records: {newest.number}, hash {newest.short}."


def closing_lines(check: StoreCheck) -> Iterator[str]:
    """What the records are worth, whom to ask about keys, and last what each file is."""
    runs = f"{check.runs} run{'' if check.runs == 1 else 's'}"
    match check.of_records:
        case "wrong":
            yield "Not whole: do not use as evidence what is named above; restore a copy."
        case "unknown":
            holding = "every hash and link holds" if check.runs else "no run to verify"
            yield f"{runs}: {holding}; what is named is not known to be good{_and_not(check)}"
        case "good":
            yield f"{runs}: {_holding(check)}{_and_not(check)}"
    if any(signer.key not in check.trusted for signer in check.signers):
        yield (
            "Anybody can make a key. Compare its fingerprint with its owner, then: "
            + typed_command("record keys trust FINGERPRINT --name OWNER")
        )
    yield from (_file_line(file, check) for file in check.files)


def _file_line(file: CheckedFile, check: StoreCheck) -> str:
    """What a file is; a paper is no better than the records that it was held against."""
    if file.paper is not None and check.of_records != "good":
        return f"{file.path}: {file.said} By records that are not known to be good: see above."
    return f"{file.path}: {file.said}"


def _and_not(check: StoreCheck) -> str:
    """What was not checked: values without readings, and the end of records never seen before."""
    values = f"; {_counted(check.values)}" if check.values else ""
    if check.seen_before or not check.runs:
        return f"{values}."
    return (
        f"{values}. This computer never saw these records before: it cannot tell whether runs or "
        "voids at their end were cut off. Compare the newest entry with what somebody noted."
    )


def _holding(check: StoreCheck) -> str:
    """What holds in a good store; an unfinished run has no signature that could."""
    if not check.open_runs:
        return "every hash, link and signature holds, each by a key trusted here"
    if len(check.open_runs) < check.runs:
        return (
            "every hash and link holds, and so does the signature of each finished run, by a key "
            "trusted here"
        )
    return "every hash and link holds; there is no signature yet"
