"""The command `record import`: runs, assets and campaigns of another store."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

from rich.text import Text

from ohmwright.api.campaign_words import entry_words, place_words
from ohmwright.api.campaign_work import CampaignDesk
from ohmwright.engine.run_so_far import is_refused
from ohmwright.model.account import account_name
from ohmwright.model.errors import SourceError, UsageError
from ohmwright.records.audit_finding import AuditFinding
from ohmwright.records.campaigns import Worker
from ohmwright.records.json_lines import read_runs
from ohmwright.records.register_import import NotedOnBoth, RegisterImport, import_register
from ohmwright.records.register_lines import Register
from ohmwright.records.run_import import end_of, import_run
from ohmwright.records.signed_contents import signatures
from ohmwright.records.sql_store import SqlStore
from ohmwright.records.trust import Signer, TrustedKeys, signers
from ohmwright.records.values_audit import RecomputedValues
from ohmwright.records.verdict_audit import audit_verdicts
from ohmwright.records.witness_file import ChainPosition
from ohmwright.reports.text import counted, printable

from .console import err, out
from .error_report import print_error
from .open_records import (
    open_records,
    trusted_keys,
)


@dataclass
class _RunsThatCame:
    """What came of the runs of one file."""

    how: Counter[str] = field(default_factory=Counter)
    """How many are new, longer than what is on record, or there already."""
    unsigned: dict[str, bool] = field(default_factory=dict)
    """By id, whether the run is over, as one that was refused is."""
    refused: list[UsageError] = field(default_factory=list)
    contradicted: list[AuditFinding] = field(default_factory=list)
    ends: list[ChainPosition] = field(default_factory=list)
    """How each finished run ends of which something came."""


def import_runs(file: Path, records: str | None, trusted: Path | None) -> int:
    """Check the whole file, then store its new runs and the new events of unfinished runs.

    Prints who signed with a key that was not on record before, and whether it is trusted. Returns
    0, or 2 where a run was refused, as one that both computers went on with; the others come in.
    """
    with open_records(records) as store:
        known = {signer.key for signer in signers(signatures(store.database))}
        with _open_existing(file) as lines:
            for _ in read_runs(lines, str(file)):  # raises for a line that is wrong
                pass
        with _open_existing(file) as lines:
            register = Register.read(lines, str(file))
        came = _take_runs(file, store)
        merged = import_register(store.database, register, account_name())
        new = [one for one in signers(signatures(store.database)) if one.key not in known]
        known_keys = trusted_keys(trusted, store)
        both = list(_noted_on_both(store, merged.both))
    _print_new_signers(new, known_keys)
    _print_runs(came)
    _print_merged(merged, both)
    return UsageError.exit_code if came.refused or merged.refused else 0


def _take_runs(file: Path, store: SqlStore) -> _RunsThatCame:
    """Store the runs of `file`, and hold what came against itself."""
    came = _RunsThatCame()
    with _open_existing(file) as lines, RecomputedValues() as recomputed:
        for run, events in read_runs(lines, str(file)):
            try:
                how = import_run(store, run, events)
            except UsageError as problem:
                came.refused.append(problem)
                continue
            came.how[how] += 1
            if run.seal is not None and how != "there already":
                came.ends.append(end_of(run))
            came.contradicted += audit_verdicts(run.run_id, events)
            came.contradicted += recomputed(run.run_id, events)
            if run.seal is None and how != "there already":
                came.unsigned[run.run_id] = is_refused(events)
        came.contradicted += recomputed.rest()
    _remember_ends(came, store)
    return came


def _remember_ends(came: _RunsThatCame, store: SqlStore) -> None:
    """Have this computer remember how each run ended that does not contradict itself.

    Of one that does, the true one may still come.
    """
    doubted = {finding.run for finding in came.contradicted if finding.kind == "wrong"}
    for end in came.ends:
        if end.run_id not in doubted:
            store.witness.remember_end(end)


def _print_runs(came: _RunsThatCame) -> None:
    """Print which runs nobody signed, which contradict themselves, and how many came."""
    for run_id, is_over in came.unsigned.items():
        said = (
            f"Run {run_id} was refused before anything was measured, and is over: nobody signs it."
            if is_over
            else f"Run {run_id} is not finished, so nobody has signed it: who resumes it signs all "
            "of it, also what is there already. Go on with it on one computer alone."
        )
        out().print(Text(printable(said)), soft_wrap=True)
    for finding in (one for one in came.contradicted if one.kind == "wrong"):
        said = f"Imported, and its own record contradicts it: {finding}"
        err().print(Text(printable(said), style="red"), soft_wrap=True)
    for refusal in came.refused:
        print_error(refusal)
    out().print(
        f"{counted(came.how['new'], 'run')} imported, {came.how['longer']} of those on record "
        f"continued, {came.how['there already']} were on record already"
        f"{f', {len(came.refused)} were refused' if came.refused else ''}.",
        soft_wrap=True,
    )


def _noted_on_both(store: SqlStore, units: Iterable[NotedOnBoth]) -> Iterator[str]:
    """Yield, for each unit of a campaign that both noted something about, that and what counts."""
    for one in units:
        state = CampaignDesk(store, one.campaign, Worker("", "")).states()[one.here.tag]
        yield (
            f"Campaign {one.campaign}, {one.here.tag}: {entry_words(one.here)} here, "
            f"{entry_words(one.there)} there. It counts as: {place_words(state)}."
        )


def _print_merged(merged: RegisterImport, both: Iterable[str]) -> None:
    """Print what came of the register and the campaigns, and what both computers did."""
    if merged.changes or merged.entries:
        changes, notes = counted(merged.changes, "change"), counted(merged.entries, "note")
        out().print(f"Imported, too: {changes} of assets, {notes} of campaigns.", soft_wrap=True)
    for line in (*merged.told, *both):
        out().print(Text(printable(line), style="yellow"), soft_wrap=True)
    for line in merged.refused:
        err().print(Text(printable(f"Not imported: {line}"), style="red"), soft_wrap=True)


def _print_new_signers(new: Iterable[Signer], trusted: TrustedKeys) -> None:
    """Print each signer that is new on record, and whether its key is trusted here."""
    for signer in new:
        so = "which is trusted here" if signer.key in trusted else "which is NOT trusted here"
        said = f"Signed by {', '.join(signer.operators)} with key {signer.fingerprint}, {so}."
        out().print(Text(printable(said)), soft_wrap=True)


@contextmanager
def _open_existing(path: Path) -> Iterator[BinaryIO]:
    try:
        file = path.open("rb")
    except OSError as problem:
        raise SourceError(f"{path}: cannot be read: {problem.strerror}.") from None
    with file:
        yield file
