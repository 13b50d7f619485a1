"""The command `record verify`: check that records are complete and unaltered, and who signed."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from rich.progress import Progress
from rich.text import Text

from ohmwright.api.open_records import resolved_run_id
from ohmwright.api.shown_files import checked_file
from ohmwright.model.errors import UsageError
from ohmwright.records.audit import audit, has_head, run_ids_with_head
from ohmwright.records.audit_finding import AuditFinding, FindingKind
from ohmwright.records.copied_readings import CopiedReadings
from ohmwright.records.private_files import access_of_others
from ohmwright.records.run_lists import REFUSED, UNFINISHED, Filter, runs
from ohmwright.records.signed_contents import signatures, unhashed_entries
from ohmwright.records.sql_store import SqlStore
from ohmwright.records.trust import TrustedKeys, misnamed_signers, signers, untrusted_signers
from ohmwright.records.values_audit import RecomputedValues
from ohmwright.records.verdict_audit import audit_verdicts
from ohmwright.reports.text import printable

from .console import err, out, print_json
from .open_records import open_existing_records, trusted_keys
from .store_check import EXIT_CODES, StoreCheck
from .verify_words import (
    closing_lines,
    finding_line,
    issue_line,
    named_words,
    newest_entry_line,
    recomputed_words,
    run_line,
    unhashed_words,
)

_HASH = re.compile(r"[0-9a-fA-F]{12,64}")
_STYLES: dict[FindingKind, str] = {
    "wrong": "bold red",
    "unknown": "bold yellow",
    "warning": "yellow",
}


@dataclass(frozen=True)
class Shown:
    """What somebody holds in their hands and asks about."""

    heads: Sequence[str] = ()
    """Hashes printed on certificates, which must be on record."""
    papers: Sequence[Path] = ()
    """Files of certificates, each of which should be one that was issued and is in force."""


def verify_records(
    run_ids: Sequence[str],
    shown: Shown,
    records: str | None,
    trusted: Path | None,
    *,
    as_json: bool,
    values: bool = True,
) -> int:
    """Print every finding; return 0 if all is good, 4 if something is unknown, 6 if wrong.

    `values`: whether they are computed once more from their readings.
    """
    with open_existing_records(records) as store:
        trusted_here = trusted_keys(trusted, store)
        check = _checked_store(store, run_ids, shown, trusted_here, values=values)
        if check.of_records != "wrong":
            store.remember_ledger()
    print_json(_document(check)) if as_json else _print(check)
    return EXIT_CODES[check.state]


def _checked_store(
    store: SqlStore, run_ids: Sequence[str], shown: Shown, trusted: TrustedKeys, *, values: bool
) -> StoreCheck:
    chosen = [resolved_run_id(store, run_id) for run_id in run_ids]
    _refuse_no_hash(shown.heads)
    known = store.run_ids()
    for run_id in chosen:
        if run_id not in known:
            raise store.unknown_run_error(run_id)
    files = [checked_file(store, path) for path in shown.papers]
    newest, seen_before = store.newest_entry(), store.is_seen()
    recomputed = RecomputedValues(wanted=values)
    sealed = signers(signatures(store.database), chosen)
    findings = [
        *_audit_with_progress(store, chosen, len(chosen or known), recomputed),
        *_unknown_heads(store, shown.heads),
        *untrusted_signers(sealed, trusted),
        *misnamed_signers(sealed, trusted),
        *_changed_by_others(trusted),
        *_nothing_there(known),
    ]
    cut, refused = (
        [row["run_id"] for row in runs(store.database, Filter(verdict=how))]
        for how in (UNFINISHED, REFUSED)
    )
    heads = {head: run_ids_with_head(store, head) for head in shown.heads if has_head(store, head)}
    with_head = {run_id for found in heads.values() for run_id in found}
    return StoreCheck(
        len(chosen or known),
        findings,
        sealed,
        [run_id for run_id in cut + refused if not chosen or run_id in chosen],
        trusted,
        newest,
        seen_before,
        files,
        heads,
        [row for row in runs(store.database) if row["run_id"] in with_head] if with_head else (),
        recomputed.reasons,
        recomputed.named,
        frozenset(refused),
        unhashed_entries(store.database),
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

        yield from audit(store, chosen, [audit_verdicts, recomputed, CopiedReadings(), one_more])
        yield from recomputed.rest()


def _refuse_no_hash(heads: Sequence[str]) -> None:
    """Raise UsageError for what cannot be a hash: a slip of the pen is no damage to the records."""
    for head in heads:
        if _HASH.fullmatch(head) is None:
            raise UsageError(
                f"--head {head}: this is no hash.",
                "A hash has 64 of the characters 0 to 9 and a to f, of which 12 or more are given.",
                "Copy it from the paper, the label or an earlier 'record verify'.",
            )


def _unknown_heads(store: SqlStore, heads: Sequence[str]) -> Iterator[AuditFinding]:
    void = store.voided_run_ids()
    for head in heads:
        if not has_head(store, head):
            yield AuditFinding(f"the hash {head} is not on record: an older copy, or another store")
        for run_id in void.intersection(run_ids_with_head(store, head)):
            what = f"it is void, and so is a paper with the hash {head}"
            yield AuditFinding(what, run_id, kind="unknown")


def _nothing_there(known: Sequence[str]) -> Iterator[AuditFinding]:
    """Yield that a store is empty: whoever expects runs in it is not told that they are good."""
    if not known:
        yield AuditFinding("it holds no run, so that it says nothing", kind="unknown")


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
        "not_checked": asdict(check.unhashed),
        "papers": [asdict(file) for file in check.files],
        "newest_entry": {"number": check.newest.number, "hash": check.newest.hash.hex()},
        "seen_before": check.seen_before,
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
        said = printable(finding_line(finding))
        out().print(Text(said, style=_STYLES[finding.kind]), soft_wrap=True)
    for paper in (file.paper for file in check.files if file.paper is not None):
        out().print(Text(printable(issue_line(paper))), soft_wrap=True)
    for head, found in check.heads.items():
        where = f"an event of run {', '.join(found)}" if found else "a signature or approval"
        out().print(Text(printable(f"{head}: on record, the hash of {where}.")), soft_wrap=True)
    for row in check.runs_of_heads:
        out().print(Text(printable(run_line(row))), soft_wrap=True)
    cut = [run_id for run_id in check.open_runs if run_id not in check.refused]
    if cut:
        named = ", ".join(map(printable, cut))
        out().print(Text(f"Not finished, so signed by nobody: {named}"), soft_wrap=True)
    if refused := len(check.open_runs) - len(cut):
        said = f"Refused before anything was measured, so signed by nobody: {refused}"
        out().print(Text(said), soft_wrap=True)
    if check.values:
        out().print(Text(recomputed_words(check.values)), soft_wrap=True)
    for why, points in check.named.items():
        left = named_words(why, points, check.values[why])
        out().print(Text(printable(left), style="dim"), soft_wrap=True)
    if beside := unhashed_words(check.unhashed):
        out().print(Text(beside, style="dim"), soft_wrap=True)
    if check.newest.number:
        out().print(Text(newest_entry_line(check)), soft_wrap=True)
    for line in closing_lines(check):
        out().print(Text(printable(line)), soft_wrap=True)
