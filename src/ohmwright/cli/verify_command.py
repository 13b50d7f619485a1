"""The command `record verify`: check that records are complete and unaltered, and who signed."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from shlex import quote
from typing import Literal

from rich.progress import Progress
from rich.text import Text

from ohmwright.api.issued_paper import layout_sha256
from ohmwright.api.open_records import resolved_run_id
from ohmwright.model.errors import RecordError
from ohmwright.records.audit import audit, has_head, run_ids_with_head
from ohmwright.records.audit_finding import AuditFinding, FindingKind
from ohmwright.records.issued_papers import FoundPaper, issued_papers
from ohmwright.records.private_files import access_of_others
from ohmwright.records.queries import signatures
from ohmwright.records.run_lists import CUT_SHORT, REFUSED, Filter, runs
from ohmwright.records.sql_store import SqlStore
from ohmwright.records.trust import (
    Signer,
    TrustedKeys,
    misnamed_signers,
    signers,
    untrusted_signers,
)
from ohmwright.records.values_audit import RecomputedValues
from ohmwright.records.verdict_audit import audit_verdicts
from ohmwright.reports.text import printable

from .console import err, out, print_json
from .open_records import open_existing_records, trusted_keys

StoreState = Literal["good", "unknown", "wrong"]
EXIT_CODES: dict[StoreState, int] = {"good": 0, "unknown": 4, "wrong": RecordError.exit_code}
_NAMED = 20
"""Values not computed once more that are named of each reason; JSON has more."""
_STYLES: dict[FindingKind, str] = {
    "wrong": "bold red",
    "unknown": "bold yellow",
    "warning": "yellow",
}
_PREFIXES: dict[FindingKind, str] = {"wrong": "", "unknown": "Not known: ", "warning": "Warning: "}


@dataclass(frozen=True)
class StoreCheck:
    """The result of checking a store."""

    runs: int
    findings: Sequence[AuditFinding]
    signers: Sequence[Signer]
    open_runs: Sequence[str]
    """Ids of runs that are not finished and so not signed."""
    trusted: TrustedKeys
    given: str | None = None
    """Where the records are, as it was given with the command."""
    papers: Sequence[FoundPaper] = ()
    """Of the files that were asked for, those that are issued papers."""
    heads: Mapping[str, Sequence[str]] = field(default_factory=dict[str, Sequence[str]])
    """By each hash that was asked for and is on record, the runs that have it."""
    values: Mapping[str, int] = field(default_factory=dict[str, int])
    """How many values were computed once more, under ''; how many not, under the reason."""
    named: Mapping[str, Sequence[str]] = field(default_factory=dict[str, Sequence[str]])
    """The first of these values, by the reason."""
    refused: Collection[str] = frozenset()
    """Ids of runs that were refused: they measured nothing, and there is nothing to sign."""

    @property
    def state(self) -> StoreState:
        """`wrong` or `unknown` if any finding is of that kind, else `good`."""
        kinds = {finding.kind for finding in self.findings}
        return "wrong" if "wrong" in kinds else "unknown" if "unknown" in kinds else "good"


@dataclass(frozen=True)
class Shown:
    """What somebody holds in their hands and asks about."""

    heads: Sequence[str] = ()
    """Hashes printed on certificates, which must be on record."""
    papers: Sequence[Path] = ()
    """Files of certificates, each of which must be one that was issued."""


def verify_records(
    run_ids: Sequence[str],
    shown: Shown,
    records: str | None,
    trusted: Path | None,
    *,
    as_json: bool,
    values: bool = True,
) -> int:
    """Print every finding; return 0 if good, 4 if something is unknown, 6 if something is wrong.

    `values`: whether they are computed once more from their readings.
    """
    with open_existing_records(records) as store:
        trusted_here = trusted_keys(trusted, store)
        check = _checked_store(store, run_ids, shown, trusted_here, values=values)
        check = replace(check, given=records)
        if check.state != "wrong":
            store.remember_ledger()
    print_json(_document(check)) if as_json else _print(check)
    return EXIT_CODES[check.state]


def _checked_store(
    store: SqlStore, run_ids: Sequence[str], shown: Shown, trusted: TrustedKeys, *, values: bool
) -> StoreCheck:
    chosen = [resolved_run_id(store, run_id) for run_id in run_ids]
    known = store.run_ids()
    for run_id in chosen:
        if run_id not in known:
            raise store.unknown_run_error(run_id)
    papers, not_valid = issued_papers(store, shown.papers)
    recomputed = RecomputedValues(wanted=values)
    sealed = signers(signatures(store.database), chosen)
    findings = [
        *_audit_with_progress(store, chosen, len(chosen or known), recomputed),
        *_unknown_heads(store, shown.heads),
        *not_valid,
        *untrusted_signers(sealed, trusted),
        *misnamed_signers(sealed, trusted),
        *_changed_by_others(trusted),
    ]
    cut, refused = (
        [row["run_id"] for row in runs(store.database, Filter(verdict=how))]
        for how in (CUT_SHORT, REFUSED)
    )
    return StoreCheck(
        len(chosen or known),
        findings,
        sealed,
        [run_id for run_id in cut + refused if not chosen or run_id in chosen],
        trusted,
        None,
        papers,
        {head: run_ids_with_head(store, head) for head in shown.heads if has_head(store, head)},
        recomputed.reasons,
        recomputed.named,
        frozenset(refused),
    )


def _audit_with_progress(
    store: SqlStore, chosen: Sequence[str], count: int, recomputed: RecomputedValues
) -> Iterator[AuditFinding]:
    """Yield what is wrong with the store, and show how many of its runs were checked."""
    with recomputed, Progress(console=err(), transient=True, disable=not err().is_terminal) as bar:
        task = bar.add_task("runs", total=count)

        def one_more(*_: object) -> Iterator[AuditFinding]:
            bar.advance(task)
            return iter(())

        yield from audit(store, chosen, [audit_verdicts, recomputed, one_more])
        yield from recomputed.rest()


def _unknown_heads(store: SqlStore, heads: Sequence[str]) -> Iterator[AuditFinding]:
    void = store.voided_run_ids()
    for head in heads:
        if not has_head(store, head):
            yield AuditFinding(f"the hash {head} is not on record: an older copy, or another store")
        for run_id in void.intersection(run_ids_with_head(store, head)):
            what = f"it is void, and so is a paper with the hash {head}"
            yield AuditFinding(what, run_id, kind="unknown")


def _changed_by_others(trusted: TrustedKeys) -> Iterator[AuditFinding]:
    if "change" in (access_of_others(trusted.path) or ""):
        what = f"others can change {trusted.path}, and with it whom you trust"
        yield AuditFinding(what, kind="warning")


def _document(check: StoreCheck) -> dict[str, object]:
    names = check.trusted.names()
    return {
        "runs": check.runs,
        "state": check.state,
        "findings": [asdict(finding) for finding in check.findings],
        "unsigned_runs": list(check.open_runs),
        "heads": {head: list(found) for head, found in check.heads.items()},
        "values_recomputed": check.values.get("", 0),
        "values_not_recomputed": {why: count for why, count in check.values.items() if why},
        "named_not_recomputed": {why: list(named) for why, named in check.named.items()},
        "papers": [asdict(paper) for paper in check.papers],
        "keys": [
            {
                "fingerprint": signer.fingerprint,
                "trusted": signer.key in check.trusted,
                "trusted_as": names.get(signer.key),
            }
            | asdict(signer)
            for signer in check.signers
        ],
    }


def _print(check: StoreCheck) -> None:
    for finding in check.findings:
        said = printable(f"{_PREFIXES[finding.kind]}{finding}")
        out().print(Text(said, style=_STYLES[finding.kind]), soft_wrap=True)
    for paper in check.papers:
        issued = f"issued {paper.issued_at} by {paper.issued_by} as certificate {paper.certificate}"
        said = f"{paper.path}: {issued}. {paper.reservation}Laid out by {_layout(paper)}."
        out().print(Text(printable(said)), soft_wrap=True)
    for head, found in check.heads.items():
        where = f"an event of run {', '.join(found)}" if found else "a signature or approval"
        out().print(Text(printable(f"{head}: on record, the hash of {where}.")), soft_wrap=True)
    cut = [run_id for run_id in check.open_runs if run_id not in check.refused]
    if cut:
        named = ", ".join(map(printable, cut))
        out().print(Text(f"Not finished, so signed by nobody: {named}"), soft_wrap=True)
    if refused := len(check.open_runs) - len(cut):
        said = f"Refused before anything was measured, so signed by nobody: {refused}"
        out().print(Text(said), soft_wrap=True)
    if check.values:
        out().print(Text(_recomputed_words(check.values)), soft_wrap=True)
    for why, points in check.named.items():
        left = _named_words(why, points, check.values[why])
        out().print(Text(printable(left), style="dim"), soft_wrap=True)
    runs_ = f"{check.runs} run{'' if check.runs == 1 else 's'}"
    for line in _closing_lines(check, runs_):
        out().print(line, soft_wrap=True)


def _recomputed_words(values: Mapping[str, int]) -> str:
    done = values.get("", 0)
    said = f"{done} of {sum(values.values())} values computed once more from their readings"
    left = [f"{count} not: {why}" for why, count in sorted(values.items()) if why]
    return "; ".join([said, *left]) + "."


def _named_words(why: str, named: Sequence[str], count: int) -> str:
    """Return which values were not computed once more for one reason, the first of many."""
    shown = named[:_NAMED]
    more = "" if len(shown) == count else f"; and {count - len(shown)} more"
    return f"Not computed once more, {why}: {'; '.join(shown)}{more}."


def _layout(paper: FoundPaper) -> str:
    """Return which layout a paper has, by its hash where it is not this version's."""
    layout = (
        "this program's own layout"
        if paper.template_sha256 == layout_sha256()
        else f"the layout with SHA-256 {paper.template_sha256}, which is not this version's"
    )
    if not paper.own_pages_sha256:
        return layout
    return f"{layout}, behind the laboratory's own pages of SHA-256 {paper.own_pages_sha256}"


def _closing_lines(check: StoreCheck, runs_: str) -> Iterator[str]:
    match check.state:
        case "wrong":
            yield "Not whole: do not use as evidence what is named above; restore a copy."
        case "unknown":
            yield f"{runs_}: every hash and link holds; what is named is not known to be good."
        case "good":
            yield f"{runs_}: {_holding(check)}."
    if any(signer.key not in check.trusted for signer in check.signers):
        where = "" if check.given is None else f" --records {quote(check.given)}"
        yield (
            "Anybody can make a key. Compare its fingerprint with its owner, then: "
            f"ohmwright record keys trust FINGERPRINT --name OWNER{where}"
        )


def _holding(check: StoreCheck) -> str:
    """Return what holds in a good store; an unfinished run has no signature that could."""
    if not check.runs:
        return "no run to verify"
    if not check.open_runs:
        return "every hash, link and signature holds, each by a key trusted here"
    if len(check.open_runs) < check.runs:
        return (
            "every hash and link holds, and so does the signature of each finished run, by a key "
            "trusted here"
        )
    return "every hash and link holds; there is no signature yet"
