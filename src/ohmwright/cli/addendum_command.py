"""The commands `record approve`, `amend`, `void` and `reinstate`: what is added to a run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from rich.text import Text

from ohmwright.api.certificate_files import CertificateOptions
from ohmwright.api.certificate_renderer import renderer_of_run
from ohmwright.api.issued_paper import issued_paper
from ohmwright.api.laboratory import (
    DO_AS_AUTHORISED,
    Laboratory,
    PaperWords,
    authority_by,
    find_laboratory,
    paper_data,
    unnamed_customer,
)
from ohmwright.api.open_records import resolved_run_id
from ohmwright.engine.resume import run_started_event
from ohmwright.engine.unit_identity import other_serial
from ohmwright.model.account import account_name
from ohmwright.model.errors import UsageError
from ohmwright.model.paper import Act, Authority, Corrections, IssuedPaper, PaperData
from ohmwright.model.typed_command import typed_command
from ohmwright.records.add_addendum import Wanted, add_addendum, add_approval
from ohmwright.records.addendum import Addendum, AddendumKind
from ohmwright.records.authority import authority_on_record, entry_for, names_for
from ohmwright.records.chain import StoredRun
from ohmwright.records.run_lists import Filter, runs
from ohmwright.records.sql_store import SqlStore
from ohmwright.reports.issue import issue_of
from ohmwright.reports.run_parts import parts_of_run
from ohmwright.reports.text import printable

from .certificate_command import own_pages_file
from .console import out, print_notice
from .open_records import open_existing_records, trusted_keys

_DONE: dict[AddendumKind, str] = {
    "approved": "is approved",
    "amended": "is amended",
    "voided": "is void",
    "reinstated": "is valid again",
}


@dataclass(frozen=True)
class Declared:
    """Which run is spoken of, by whom, and where it is on record."""

    run: str
    by: str | None
    records: str | None

    @property
    def name(self) -> str:
        """Who declares it: as given, else by the account of this computer."""
        return self.by or account_name()


def approve_run(declared: Declared, words: PaperWords, own_pages: Path | None) -> None:
    """Sign that the results of a run are released, and issue the paper that says so."""
    options = CertificateOptions(own_pages=own_pages_file(own_pages))
    with open_existing_records(declared.records) as store:
        run_id = resolved_run_id(store, declared.run)
        laboratory = find_laboratory(words.laboratory, store.database.place)
        authority = _authority(store, run_id, laboratory, "approve", declared.name)
        kept = issue_of(run_id, store.stored_run(run_id).addenda)
        before = kept.paper if kept.on_record else None
        paper = paper_data(laboratory, words, before)
        _refuse_late_receipt(paper, store, run_id)
        _refuse_unnamed_customer(laboratory, paper)
        _notice_of_another_answer(store, run_id, paper)
        _notice_of_one_person(store, run_id, declared.name)

        def paper_of(run: StoredRun) -> IssuedPaper:
            made = renderer_of_run(store, run, trusted_keys(None, store), options)
            if made.certificate.seal_note:
                print_notice(f"The paper says: {made.certificate.seal_note}")
            return issued_paper(made)

        said = None if paper == before else paper
        wanted = Wanted("approved", declared.name, paper=said, authority=authority)
        approval, issue = add_approval(store, run_id, wanted, paper_of)
    _say_added(approval, laboratory)
    assert issue.statement.issued is not None  # as an addendum of that kind has
    typed = typed_command(f"certificate {run_id}")
    _say(f"Certificate {issue.statement.issued.number} is issued: {typed}")


def _notice_of_another_answer(store: SqlStore, run_id: str, paper: PaperData) -> None:
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


def _notice_of_one_person(store: SqlStore, run_id: str, name: str) -> None:
    """Print that the approval proves no second person, where that is so."""
    if name in {part.operator for part in parts_of_run(store.events(run_id))}:
        print_notice(f"{printable(name)} also carried out the work; the certificate says both.")
    seal = store.stored_run(run_id).seal
    if seal is not None and seal.statement.key == store.key.public:
        print_notice(
            "The record was sealed with this key, too: it proves no second person, and the "
            "certificate says so."
        )


def amend_run(declared: Declared, reason: str, words: PaperWords) -> None:
    """Make a new issue of the certificate, which replaces the one before."""
    with open_existing_records(declared.records) as store:
        run_id = resolved_run_id(store, declared.run)
        kept = issue_of(run_id, store.stored_run(run_id).addenda)
        laboratory = find_laboratory(words.laboratory, store.database.place)
        authority = _authority(store, run_id, laboratory, "amend", declared.name)
        paper = paper_data(laboratory, words, kept.paper if kept.on_record else None)
        _refuse_late_receipt(paper, store, run_id)
        _refuse_unnamed_customer(laboratory, paper)
        _notice_of_another_unit(store, run_id, paper)
        wanted = Wanted("amended", declared.name, reason, paper, authority)
        _say_added(add_addendum(store, run_id, wanted), laboratory)
        issue = issue_of(run_id, store.stored_run(run_id).addenda)
    until = f"; until then {issue.in_force} stays in force" if issue.in_force else ""
    _say(f"Certificate {issue.number} is a draft until somebody approves it{until}.")


def _notice_of_another_unit(store: SqlStore, run_id: str, paper: PaperData) -> None:
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


def _authority(
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


def _refuse_late_receipt(paper: PaperData, store: SqlStore, run_id: str) -> None:
    """Raise UsageError where the unit would have been received after the work on it."""
    ended = store.events(run_id)[-1].at.date()
    if paper.received_on is not None and paper.received_on > ended:
        raise UsageError(
            f"--received {paper.received_on}: the work was done by {ended}.",
            "A unit cannot be received after it. Nothing was added.",
            "Give the date of receipt, as YYYY-MM-DD.",
        )


def _refuse_unnamed_customer(laboratory: Laboratory | None, paper: PaperData) -> None:
    """Raise UsageError where nobody said which of several customers it is for."""
    if said := unnamed_customer(laboratory, paper):
        raise UsageError(
            said,
            "The paper would name none of them, or the wrong one. Nothing was added.",
            "Say for whom the work was done with --customer.",
        )


def corrections(given: Sequence[str]) -> Corrections:
    """Parse corrections of the unit such as `serial=TQ3-20418`. Raises UsageError."""
    known = tuple(Corrections.model_fields)
    texts: dict[str, str] = {}
    for one in given:
        key, _, text = one.partition("=")
        if key not in known or not text.strip():
            raise UsageError(
                f"--correct {one}: nothing of the unit is corrected by that.",
                f"It can be: {', '.join(known)}. A run on another unit is void.",
                "Write, for example: --correct serial=TQ3-20418",
            )
        texts[key] = text.strip()
    return Corrections(**texts)


def change_validity(
    declared: Declared, what: AddendumKind, reason: str, laboratory_file: Path | None
) -> None:
    """Declare a run void, or valid again."""
    with open_existing_records(declared.records) as store:
        run_id = resolved_run_id(store, declared.run)
        laboratory = find_laboratory(laboratory_file, store.database.place)
        authority = _authority(store, run_id, laboratory, "void", declared.name)
        wanted = Wanted(what, declared.name, reason, authority=authority)
        _say_added(add_addendum(store, run_id, wanted), laboratory)


def _say_added(addendum: Addendum, laboratory: Laboratory | None) -> None:
    """Print what an addendum means, and whether anybody could have made it."""
    said = addendum.statement
    _say(
        f"Run {said.run} {_DONE[said.what]}, signed by {said.operator} with key "
        f"{addendum.fingerprint}."
    )
    if said.authority is None:
        why = (
            "there is no laboratory file"
            if laboratory is None
            else f"{laboratory.path} names nobody as authorised"
        )
        print_notice(f"Who may do so is not restricted: {why}.")


def _say(line: str) -> None:
    out().print(Text(printable(line)), soft_wrap=True)
