"""The certificate as a digital calibration certificate (DCC) in PTB's open XML schema.

Version 3.3.0, whose numbers follow D-SI 2.2.1, which it imports. Every element written here was
held against the published text of both, and the units against PTB's parser of them; see the
decisions in the room's docstring. `dcc_schema` validates a file against the schema itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

from lxml import etree

from ohmwright.engine.opening_events import SOFTWARE
from ohmwright.engine.run import results_that_count
from ohmwright.model.paper import Party
from ohmwright.model.result import Verdict

from .certificate import Certificate
from .certificate_notes import CAUTIONS, accreditation_of, notes_of, statements_of, title_of
from .dcc_elements import (
    DCC,
    SI,
    Element,
    add,
    add_conformity,
    add_identification,
    add_software,
    add_words,
)
from .dcc_results import add_measurement
from .details import answer_of_unit, corrected_texts, unread_text
from .part_texts import interruption_lines, protection_lines
from .text import NOT_RECORDED
from .verdict_grounds import covered, is_past_due, qualification, said_verdict

VERSION = "3.3.0"
UNKNOWN_COUNTRY = "ZZ"
"""ISO 3166-1 leaves it to its users; here it means that nobody has said."""


def certificate_dcc(certificate: Certificate, country: str | None = None) -> bytes:
    """The XML document, in UTF-8.

    `country`: ISO 3166-1 code of the place of the work; None for the laboratory's own.
    """
    country = country or certificate.issue.paper.country or UNKNOWN_COUNTRY
    root = etree.Element(
        f"{{{DCC}}}digitalCalibrationCertificate",
        nsmap={"dcc": DCC, "si": SI},
        schemaVersion=VERSION,
    )
    _administrative(add(root, "administrativeData"), certificate, country)
    add_measurement(add(add(root, "measurementResults"), "measurementResult"), certificate)
    if certificate.issue.void:
        _take_verdicts_out(root)
    return bytes(etree.tostring(root, xml_declaration=True, encoding="UTF-8", pretty_print=True))


def _take_verdicts_out(root: Element) -> None:
    """Remove every `conformity`: a program that reads no words must find nothing that passed."""
    for conformity in list(root.iter(f"{{{DCC}}}conformity")):
        parent = conformity.getparent()
        assert parent is not None  # it is not the root
        parent.remove(conformity)


def _administrative(parent: Element, certificate: Certificate, country: str) -> None:
    """Add who calibrated what, when and for whom, and the statements."""
    paper = certificate.issue.paper
    add_software(add(parent, "dccSoftware"), SOFTWARE)
    _core_data(add(parent, "coreData"), certificate, country)
    _item(add(add(parent, "items"), "item"), certificate)
    unknown = Party(name=NOT_RECORDED)
    _contact(add(add(parent, "calibrationLaboratory"), "contact"), paper.laboratory or unknown)
    _persons(add(parent, "respPersons"), certificate)
    _contact(add(parent, "customer"), paper.customer or unknown)
    _statements(add(parent, "statements"), certificate)


def _core_data(core: Element, certificate: Certificate, country: str) -> None:
    """Add number, dates and place, and the certificate that this one replaces."""
    issue = certificate.issue
    add(core, "countryCodeISO3166_1", country)
    add(core, "usedLangCodeISO639_1", "en")
    add(core, "mandatoryLangCodeISO639_1", "en")
    add(core, "uniqueIdentifier", certificate.number)
    if issue.paper.received_on is not None:
        add(core, "receiptDate", f"{issue.paper.received_on}")
    add(core, "beginPerformanceDate", _date(certificate.begun_at))
    add(core, "endPerformanceDate", _date(certificate.ended_at))
    place = issue.paper.place
    add(core, "performanceLocation", place if place in ("laboratory", "customer") else "other")
    if issue.issued_on is not None:
        add(core, "issueDate", f"{issue.issued_on}")
    if issue.replaces and issue.approvals:
        change = add(core, "reportAmendedSubstituted")
        add(change, "typeOfChange", "substituted")
        add(change, "replacedUniqueIdentifier", issue.replaces)


def _persons(persons: Element, certificate: Certificate) -> None:
    """Add who approved the certificate and who carried out the work.

    Main signer is the first who approved; of a draft nobody, since nobody signed it.
    """
    approvers = [one.name for one in certificate.issue.approvals]
    roles = [(name, "approved") for name in approvers]
    roles += [(name, "carried out the work") for name in certificate.operators]
    for number, (name, role) in enumerate(roles):
        person = add(persons, "respPerson")
        add_words(add(person, "person"), "name", name)
        add(person, "role", role)
        add(person, "mainSigner", "true" if approvers and number == 0 else "false")


def _date(at: datetime) -> str:
    """A time as a date in UTC."""
    return f"{at.astimezone(UTC):%Y-%m-%d}"


def _contact(contact: Element, party: Party) -> None:
    """Add a name with its address, or that this is not recorded."""
    add_words(contact, "name", party.name)
    location = add(contact, "location")
    if party.address:
        add_words(location, "further", *party.address)
    else:
        add_words(location, "further", NOT_RECORDED, english=True)


def _item(item: Element, certificate: Certificate) -> None:
    """Add the unit under test: maker, model, serial number and asset."""
    unit = certificate.asset
    add_words(item, "name", "Electrosurgical (HF surgery) generator", english=True)
    add_words(add(item, "manufacturer"), "name", unit.maker)
    add(item, "model", unit.model)
    identifications = add(item, "identifications")
    add_identification(identifications, "manufacturer", unit.serial, "Serial number")
    add_identification(identifications, "owner", unit.id, "Asset")


def _told(certificate: Certificate) -> Iterator[tuple[str, str]]:
    """What papers state beside the record and the schema has no element for."""
    paper = certificate.issue.paper
    yield from (
        (name, text)
        for name, text in (
            ("Accreditation", accreditation_of(certificate)),
            ("Place of work", paper.place),
            ("Condition of the item when received", paper.condition),
        )
        if text
    )


def _statements(parent: Element, certificate: Certificate) -> None:
    """Add the statements of the certificate, and the verdict of the whole."""
    issue = certificate.issue
    if issue.void:
        void = add(parent, "statement")
        add_words(void, "name", "VOID. This paper must not be used.", english=True)
        add_words(void, "declaration", issue.void, english=True)
        add(void, "valid", "false")
    said = [
        f"{title_of(certificate)}.",
        *statements_of(certificate),
        *(f"{name}: {text}" for name, text in _told(certificate)),
        *(
            f"{name.capitalize()} of the item{text}."
            for name, text in corrected_texts(certificate).items()
            if text
        ),
        *((f"Serial of the item{unread}.",) if (unread := unread_text(certificate)) else ()),
        *(f"The item answers as {text}." for _, text in answer_of_unit(certificate) if text),
        *notes_of(certificate),
        *CAUTIONS,
        *interruption_lines(certificate.parts),
        *certificate.remarks,
    ]
    said += [f"Bench: {one}" for one in protection_lines(certificate.parts)]
    if certificate.seed is not None:
        said.insert(0, f"SIMULATED, seed {certificate.seed}: no evidence about any real unit.")
    if certificate.head is not None:
        said.append(f"The record ends in the hash {certificate.head}.")
    if issue.one_key:
        said.append(issue.one_key)
    for text in said:
        add_words(add(parent, "statement"), "declaration", text, english=True)
    overall = add(parent, "statement")
    results = certificate.results
    said_of_it = filter(None, (said_verdict(certificate.verdict, results), qualification(results)))
    whole = "VOID" if issue.void else ", ".join(said_of_it)
    add_words(overall, "name", f"Result of the whole: {whole}", english=True)
    add_conformity(overall, _stated_verdict(certificate))


def _stated_verdict(certificate: Certificate) -> Verdict:
    """The verdict of the whole as far as it is traceable: a pass where all is, a fail where any.

    Else `undecided`, for which no conformity is stated; so is all by an analyzer past due. What was
    found out of tolerance and left inside it is no fail of the whole.
    """
    traceable = [r for r in covered(certificate.results) if not is_past_due(r)]
    if len(traceable) == len(certificate.results):
        return certificate.verdict
    counts = results_that_count(certificate.results)
    fails = any(r.verdict == "fail" for r in counts if r in traceable)
    return "fail" if fails else "undecided"
