"""The commands `record approve`, `amend`, `void` and `reinstate`: what is added to a run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from rich.text import Text

from ohmwright.api.certificate_files import CertificateOptions
from ohmwright.api.certificate_renderer import renderer_of_run
from ohmwright.api.issued_paper import issued_paper
from ohmwright.api.laboratory import Laboratory, PaperWords, find_laboratory, paper_data
from ohmwright.api.open_records import resolved_run_id
from ohmwright.model.account import account_name
from ohmwright.model.errors import UsageError
from ohmwright.model.paper import Act, Authority, Corrections, IssuedPaper, PaperData
from ohmwright.records.add_addendum import Wanted, add_addendum, add_approval
from ohmwright.records.addendum import Addendum, AddendumKind
from ohmwright.records.chain import StoredRun
from ohmwright.records.sql_store import SqlStore
from ohmwright.reports.issue import issue_of
from ohmwright.reports.run_parts import parts_of_run
from ohmwright.reports.text import printable

from .certificate_command import own_template
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


def approve_run(declared: Declared, words: PaperWords, template: Path | None) -> None:
    """Sign that the results of a run are released, and issue the paper that says so."""
    options = CertificateOptions(template=own_template(template))
    with open_existing_records(declared.records) as store:
        run_id = resolved_run_id(store, declared.run)
        laboratory = find_laboratory(words.laboratory, store.database.place)
        authority = _authority(store, run_id, laboratory, "approve", declared.name)
        kept = issue_of(run_id, store.stored_run(run_id).addenda)
        before = kept.paper if kept.on_record else None
        paper = paper_data(laboratory, words, before)
        _refuse_late_receipt(paper, store, run_id)
        _notice_of_one_person(store, run_id, declared.name)

        def paper_of(run: StoredRun) -> IssuedPaper:
            made = renderer_of_run(store, run, trusted_keys(None, store), options)
            if made.certificate.seal_note:
                print_notice(f"The paper says: {made.certificate.seal_note}")
            return issued_paper(made)

        said = None if paper == before else paper
        wanted = Wanted("approved", declared.name, paper=said, authority=authority)
        approval, issue = add_approval(store, run_id, wanted, paper_of)
    _say_added(approval)
    assert issue.statement.issued is not None  # as an addendum of that kind has
    _say(f"Certificate {issue.statement.issued.number} is issued: ohmwright certificate {run_id}")


def _notice_of_one_person(store: SqlStore, run_id: str, name: str) -> None:
    """Print that the approval proves no second person, where that is so."""
    if name in {part.operator for part in parts_of_run(store.events(run_id))}:
        print_notice(f"{printable(name)} also carried out the work; the certificate says both.")
    seal = store.stored_run(run_id).seal
    if seal is not None and seal.statement.key == store.key.public:
        print_notice(
            "Your key also sealed the record, so it proves no second person; the certificate "
            "says so."
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
        wanted = Wanted("amended", declared.name, reason, paper, authority)
        _say_added(add_addendum(store, run_id, wanted))
        issue = issue_of(run_id, store.stored_run(run_id).addenda)
    _say(f"Certificate {issue.number} replaces {issue.replaces}; nobody has approved it yet.")


def _authority(
    store: SqlStore, run_id: str, laboratory: Laboratory | None, act: Act, name: str
) -> Authority | None:
    """By what `name` may do that with the key of this computer; None where nothing restricts it.

    Raises UsageError where they may not, and where a laboratory file had restricted it before and
    the one at hand, if any, does not.
    """
    found = None if laboratory is None else laboratory.authority(act, name, store.key.public)
    before = [one.statement.authority for one in store.stored_run(run_id).addenda]
    restricted = [one.laboratory for one in before if one is not None]
    if found is None and restricted:
        raise UsageError(
            f"Who may {act} was restricted by {restricted[-1]} when run {run_id} was approved, "
            "amended or voided before. Nothing was added.",
            "No laboratory file that names who may is found here.",
            "Give that file with --laboratory.",
        )
    return found


def _refuse_late_receipt(paper: PaperData, store: SqlStore, run_id: str) -> None:
    """Raise UsageError where the unit would have been received after the work on it."""
    ended = store.events(run_id)[-1].at.date()
    if paper.received_on is not None and paper.received_on > ended:
        raise UsageError(
            f"--received {paper.received_on}: the work was done by {ended}.",
            "A unit cannot be received after it. Nothing was added.",
            "Give the date of receipt, as YYYY-MM-DD.",
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
        _say_added(add_addendum(store, run_id, wanted))


def _say_added(addendum: Addendum) -> None:
    """Print what an addendum means, and whether anybody could have made it."""
    said = addendum.statement
    _say(
        f"Run {said.run} {_DONE[said.what]}, signed by {said.operator} with key "
        f"{addendum.fingerprint}."
    )
    if said.authority is None:
        print_notice("Who may do so is not restricted: the laboratory file names nobody.")


def _say(line: str) -> None:
    out().print(Text(printable(line)), soft_wrap=True)
