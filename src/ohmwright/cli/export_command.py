"""The commands `record export`, `hand-over` and `take-back`."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from rich.text import Text

from ohmwright.api.open_records import resolved_run_id
from ohmwright.api.output_file import refuse_ending_of_another
from ohmwright.records.hand_over import handed_over, take_back
from ohmwright.records.json_lines import run_lines
from ohmwright.records.parquet import write_results
from ohmwright.records.queries import results
from ohmwright.records.register_lines import register_lines
from ohmwright.records.run_lists import Filter, runs
from ohmwright.records.sql_store import SqlStore
from ohmwright.reports.text import counted, printable

from .console import out
from .open_records import (
    open_existing_records,
    open_records_for_reading,
)
from .own_file import new_file

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
        do="Give it the ending .jsonl, or add --parquet for a flat table of results. CSV of a run: "
        "'ohmwright certificate RUN --csv FILE'.",
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
