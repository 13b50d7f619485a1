"""What is held against an addendum before it is signed: who may do it, and what it would state."""

from __future__ import annotations

from ohmwright.api.laboratory import (
    DO_AS_AUTHORISED,
    Laboratory,
    authority_by,
    unnamed_customer,
)
from ohmwright.engine.run_so_far import run_started_event
from ohmwright.engine.unit_identity import other_serial
from ohmwright.model.errors import UsageError
from ohmwright.model.paper import Act, Authority, PaperData
from ohmwright.model.typed_command import typed_command
from ohmwright.records.authority import authority_on_record, entry_for, names_for
from ohmwright.records.run_lists import Filter, runs
from ohmwright.records.sql_store import SqlStore
from ohmwright.reports.run_parts import parts_of_run
from ohmwright.reports.text import printable

from .console import print_notice
from .run_summary import unit_line


def authority_for(
    store: SqlStore, run_id: str, laboratory: Laboratory | None, act: Act, name: str
) -> Authority | None:
    """By what `name` may do that with the key of this computer; None where nothing restricts it.

    Raises UsageError where they may not: by the record first, whatever laboratory file is at hand.
    """
    kept = authority_on_record(store.stored_run(run_id).addenda)
    by_record = None if kept is None else _by_record(kept, run_id, act, name, store.key.public)
    found = None if laboratory is None else laboratory.authority(act, name, store.key.public)
    if kept is not None and not kept.authorised and (found is None or not _same(found, kept)):
        raise UsageError(
            f"Who may {act} was restricted by {kept.laboratory} when run {run_id} was approved, "
            "amended or voided before. Nothing was added.",
            "The file of that laboratory, which names who may, is not found here.",
            "Give that file with --laboratory.",
        )
    if found is not None and by_record is not None and found.authorised != by_record.authorised:
        listed = ", ".join(dict.fromkeys(one.name for one in found.authorised))
        print_notice(f"Whom the record of this run names changes with this: {printable(listed)}.")
    return found or by_record


def _by_record(kept: Authority, run_id: str, act: Act, name: str, key: str) -> Authority | None:
    """By what the record lets `name` do that; None where it has no list. Raises UsageError."""
    if not kept.authorised:
        return None
    entry = entry_for(kept.authorised, act, name, key)
    if entry is None:
        raise UsageError(
            f"{name} may not {act} run {run_id}, or signs with another key. Nothing was added.",
            f"Its record names who may, by the file of {kept.laboratory}: "
            f"{names_for(kept.authorised, act)}. No other laboratory file can change that.",
            DO_AS_AUTHORISED,
        )
    return authority_by(kept.laboratory, entry, kept.authorised)


def _same(found: Authority, kept: Authority) -> bool:
    return found.laboratory == kept.laboratory


def refuse_late_receipt(paper: PaperData, store: SqlStore, run_id: str) -> None:
    """Raise UsageError where the unit would have been received after the work on it."""
    ended = store.events(run_id)[-1].at.date()
    if paper.received_on is not None and paper.received_on > ended:
        raise UsageError(
            f"--received {paper.received_on}: the work was done by {ended}.",
            "A unit cannot be received after it. Nothing was added.",
            "Give the date of receipt, as YYYY-MM-DD.",
        )


def refuse_unnamed_customer(laboratory: Laboratory | None, paper: PaperData) -> None:
    """Raise UsageError where nobody said which of several customers it is for."""
    if said := unnamed_customer(laboratory, paper):
        raise UsageError(
            said,
            "The paper would name none of them, or the wrong one. Nothing was added.",
            "Say for whom the work was done with --customer.",
        )


def notice_of_another_answer(store: SqlStore, run_id: str, paper: PaperData) -> None:
    """Print that the unit answered with another serial number than the paper states, if it did."""
    began = run_started_event(store.events(run_id))
    if began is None:
        return
    serial = paper.corrections.serial or began.asset.serial
    told = other_serial(began.generator, serial)
    if told is not None:
        print_notice(
            printable(
                f"The unit answered as '{began.generator}': its serial number there, {told}, is "
                f"not {serial}, which the certificate states; it says both. If that was another "
                "unit, void the run."
            )
        )


def notice_of_one_person(store: SqlStore, run_id: str, name: str) -> None:
    """Print that the approval proves no second person, where that is so."""
    if name in {part.operator for part in parts_of_run(store.events(run_id))}:
        print_notice(f"{printable(name)} also carried out the work; the certificate says both.")
    seal = store.stored_run(run_id).seal
    if seal is not None and seal.statement.key == store.key.public:
        print_notice(
            "The record was sealed with this key, too: it proves no second person, and the "
            "certificate says so."
        )


def notice_of_void_unit(store: SqlStore, run_id: str) -> None:
    """Print which unit a void run is of, and how that is taken back: `last` may be another one."""
    started = run_started_event(store.events(run_id))
    undo = typed_command(f"record reinstate {run_id} --reason WHY")
    unit = "" if started is None else f"{unit_line(started.asset)}. "
    print_notice(printable(f"{unit}Was another run meant? {undo} takes it back."))


def notice_of_another_unit(store: SqlStore, run_id: str, paper: PaperData) -> None:
    """Print that the corrected serial number is another unit's in these records, where it is."""
    serial = paper.corrections.serial
    if not serial:
        return
    own = run_started_event(store.events(run_id))
    rows = runs(store.database, Filter(serial=serial))
    others = {row["asset"] for row in rows} - {"" if own is None else own.asset.id}
    if others:
        named = ", ".join(sorted(others))
        print_notice(
            printable(
                f"{serial} is the serial number of {named} in these records. If that unit was "
                "measured, the run is another unit's: void it, and do not amend it."
            )
        )
