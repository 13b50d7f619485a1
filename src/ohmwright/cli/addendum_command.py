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
    Laboratory,
    PaperWords,
    find_laboratory,
    paper_data,
)
from ohmwright.api.open_records import resolved_run_id
from ohmwright.model.account import account_name
from ohmwright.model.errors import UsageError
from ohmwright.model.paper import Corrections, IssuedPaper
from ohmwright.model.typed_command import typed_command
from ohmwright.records.add_addendum import Wanted, add_addendum, add_approval
from ohmwright.records.addendum import Addendum, AddendumKind
from ohmwright.records.chain import StoredRun
from ohmwright.reports.issue import issue_of
from ohmwright.reports.text import printable

from .addendum_checks import (
    authority_for,
    notice_of_another_answer,
    notice_of_another_unit,
    notice_of_one_person,
    notice_of_void_unit,
    refuse_late_receipt,
    refuse_unnamed_customer,
)
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
        authority = authority_for(store, run_id, laboratory, "approve", declared.name)
        kept = issue_of(run_id, store.stored_run(run_id).addenda)
        before = kept.paper if kept.on_record else None
        paper = paper_data(laboratory, words, before)
        refuse_late_receipt(paper, store, run_id)
        refuse_unnamed_customer(laboratory, paper)
        notice_of_another_answer(store, run_id, paper)

        def paper_of(run: StoredRun) -> IssuedPaper:
            made = renderer_of_run(store, run, trusted_keys(None, store), options)
            if made.certificate.seal_note:
                print_notice(f"The paper says: {made.certificate.seal_note}")
            return issued_paper(made)

        said = None if paper == before else paper
        wanted = Wanted("approved", declared.name, paper=said, authority=authority)
        approval, issue = add_approval(store, run_id, wanted, paper_of)
        notice_of_one_person(store, run_id, declared.name)
    _say_added(approval, laboratory)
    assert issue.statement.issued is not None  # as an addendum of that kind has
    typed = typed_command(f"certificate {run_id}")
    _say(f"Certificate {issue.statement.issued.number} is issued: {typed}")


def amend_run(declared: Declared, reason: str, words: PaperWords) -> None:
    """Make a new issue of the certificate, which replaces the one before."""
    with open_existing_records(declared.records) as store:
        run_id = resolved_run_id(store, declared.run)
        kept = issue_of(run_id, store.stored_run(run_id).addenda)
        laboratory = find_laboratory(words.laboratory, store.database.place)
        authority = authority_for(store, run_id, laboratory, "amend", declared.name)
        paper = paper_data(laboratory, words, kept.paper if kept.on_record else None)
        refuse_late_receipt(paper, store, run_id)
        refuse_unnamed_customer(laboratory, paper)
        notice_of_another_unit(store, run_id, paper)
        wanted = Wanted("amended", declared.name, reason, paper, authority)
        _say_added(add_addendum(store, run_id, wanted), laboratory)
        issue = issue_of(run_id, store.stored_run(run_id).addenda)
    until = f"; until then {issue.in_force} stays in force" if issue.in_force else ""
    _say(f"Certificate {issue.number} is a draft until somebody approves it{until}.")


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
        authority = authority_for(store, run_id, laboratory, "void", declared.name)
        wanted = Wanted(what, declared.name, reason, authority=authority)
        _say_added(add_addendum(store, run_id, wanted), laboratory)
        if what == "voided":
            notice_of_void_unit(store, run_id)


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
