"""The commands `record export`, `import`, `hand-over` and `take-back`."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

from rich.text import Text

from ohmwright.api.campaign_work import CampaignDesk
from ohmwright.api.open_records import resolved_run_id
from ohmwright.api.output_file import refuse_ending_of_another
from ohmwright.engine.resume import is_refused
from ohmwright.model.account import account_name
from ohmwright.model.errors import RecordError, SourceError, UsageError
from ohmwright.records.audit_finding import AuditFinding
from ohmwright.records.campaigns import Worker
from ohmwright.records.hand_over import handed_over, take_back
from ohmwright.records.json_lines import read_runs, run_lines
from ohmwright.records.parquet import write_results
from ohmwright.records.private_files import create_private_file
from ohmwright.records.queries import results, signatures
from ohmwright.records.register_import import NotedOnBoth, RegisterImport, import_register
from ohmwright.records.register_lines import Register, register_lines
from ohmwright.records.run_import import end_of, import_run
from ohmwright.records.run_lists import Filter, runs
from ohmwright.records.sql_store import SqlStore
from ohmwright.records.trust import Signer, TrustedKeys, signers
from ohmwright.records.values_audit import RecomputedValues
from ohmwright.records.verdict_audit import audit_verdicts
from ohmwright.records.witness_file import ChainPosition
from ohmwright.reports.text import counted, printable

from .campaign_words import entry_words, place_words
from .console import err, out
from .error_report import print_error
from .open_records import (
    open_existing_records,
    open_records,
    open_records_for_reading,
    trusted_keys,
)

_NOTHING_WRITTEN = "Nothing was written."


@dataclass(frozen=True)
class Selection:
    """Runs to export: those of `run_ids`, or without any all that `filter` lets through."""

    run_ids: tuple[str, ...]
    filter: Filter

    @property
    def is_everything(self) -> bool:
        """Whether nothing is left out, so that assets and campaigns go along."""
        return not self.run_ids and self.filter == Filter()

    def run_ids_in(self, store: SqlStore) -> tuple[str, ...]:
        """Return the ids of the selected runs in `store`, oldest first. UsageError if unknown."""
        named = {resolved_run_id(store, run_id) for run_id in self.run_ids}
        found = [row["run_id"] for row in runs(store.database, self.filter)]
        for run_id in named.difference(found):
            raise store.unknown_run_error(run_id)
        return tuple(run_id for run_id in found if not named or run_id in named)


def export_runs(file: Path, selection: Selection, records: str | None) -> None:
    """Write every selected run to a new JSON Lines file; without a selection the register, too.

    Raises RecordError for a damaged run.
    """
    refuse_ending_of_another(
        file,
        "JSON Lines",
        means=_NOTHING_WRITTEN,
        do="Give it the ending .jsonl, or add --parquet for a flat table of results.",
    )
    with open_records_for_reading(records) as store:
        chosen, void = selection.run_ids_in(store), store.voided_run_ids()
        with new_file(file) as target:
            write_runs(store, chosen, target)
            if selection.is_everything:
                target.writelines(line + b"\n" for line in register_lines(store.database))
    of_them_void = len(void.intersection(chosen))
    said = f", {of_them_void} of them void, and marked so" if of_them_void else ""
    out().print(f"{counted(len(chosen), 'run')} written to {file}{said}", soft_wrap=True)


def write_runs(store: SqlStore, run_ids: Iterable[str], target: BinaryIO) -> None:
    """Write runs as JSON Lines. Raises RecordError for a damaged one."""
    for run_id in run_ids:
        store.events(run_id)
        for line in run_lines(store.stored_run(run_id)):
            target.write(line + b"\n")


def export_parquet(file: Path, selection: Selection, records: str | None) -> None:
    """Write every result of the selected runs to a new Parquet file, one row each."""
    do = "Give it the ending .parquet."
    refuse_ending_of_another(file, "Parquet", means=_NOTHING_WRITTEN, do=do)
    with open_records_for_reading(records) as store:
        chosen = frozenset(selection.run_ids_in(store))
        rows = (row for row in results(store.database) if row["run_id"] in chosen)
        with new_file(file) as target:
            count = write_results(rows, target)
    out().print(f"{count} results written to {file}", soft_wrap=True)


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


def hand_over_run(run_id: str, file: Path, records: str | None) -> None:
    """Write a run that is not finished to a new file, and let it go on elsewhere alone."""
    with open_existing_records(records) as store:
        run_id = resolved_run_id(store, run_id)
        with handed_over(store, run_id) as run, new_file(file) as target:
            for line in run_lines(run):
                target.write(line + b"\n")
    said = (
        f"Run {run_id} is handed over in {file}, and does not go on here. Where it is to go on: "
        f"ohmwright record import {file}. Once it is finished there, export and import it here."
    )
    out().print(Text(printable(said)), soft_wrap=True)


def take_back_run(run_id: str, records: str | None) -> None:
    """Let a run that was handed over go on here again."""
    with open_existing_records(records) as store:
        run_id = resolved_run_id(store, run_id)
        take_back(store, run_id)
    said = (
        f"Run {run_id} goes on here again. If it was gone on with elsewhere, one of both copies "
        "will be refused when they meet."
    )
    out().print(Text(printable(said)), soft_wrap=True)


def _print_new_signers(new: Iterable[Signer], trusted: TrustedKeys) -> None:
    """Print each signer that is new on record, and whether its key is trusted here."""
    for signer in new:
        so = "which is trusted here" if signer.key in trusted else "which is NOT trusted here"
        said = f"Signed by {', '.join(signer.operators)} with key {signer.fingerprint}, {so}."
        out().print(Text(printable(said)), soft_wrap=True)


@contextmanager
def new_file(path: Path) -> Iterator[BinaryIO]:
    """Open a new file that its owner alone can read; remove it if the block fails.

    Raises UsageError where the file exists, SourceError or RecordError where it cannot be written.
    """
    try:
        file = os.fdopen(create_private_file(path), "wb")
    except FileExistsError:
        raise UsageError(
            f"{path} exists.", "Nothing is ever written over.", "Give another name."
        ) from None
    except OSError as problem:
        raise SourceError(f"{path}: cannot be written: {problem.strerror}.") from None
    try:
        with file:
            yield file
    except BaseException as problem:
        path.unlink(missing_ok=True)
        if isinstance(problem, OSError):
            raise RecordError(f"{path}: cannot be written: {problem.strerror}.") from None
        raise


@contextmanager
def _open_existing(path: Path) -> Iterator[BinaryIO]:
    try:
        file = path.open("rb")
    except OSError as problem:
        raise SourceError(f"{path}: cannot be read: {problem.strerror}.") from None
    with file:
        yield file
