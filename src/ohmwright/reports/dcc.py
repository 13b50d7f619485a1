"""The certificate as a digital calibration certificate (DCC) in PTB's open XML schema.

Version 3.3.0, whose numbers follow D-SI 2.2.1, which it imports. Every element written here was
held against the published text of both, and the units against PTB's parser of them; see the
decisions in the room's docstring. `dcc_schema` validates a file against the schema itself.
"""

from __future__ import annotations

from datetime import UTC, datetime

from lxml import etree

from .certificate import Certificate
from .certificate_text import CAUTIONS, notes_of
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
from .part_texts import interruption_lines, protection_lines
from .text import NOT_RECORDED

VERSION = "3.3.0"
UNKNOWN_COUNTRY = "ZZ"
"""ISO 3166-1 leaves it to its users; here it means that nobody has said."""


def certificate_dcc(certificate: Certificate, country: str = UNKNOWN_COUNTRY) -> bytes:
    """The XML document, in UTF-8. `country`: ISO 3166-1 code of the place of the work."""
    root = etree.Element(
        f"{{{DCC}}}digitalCalibrationCertificate",
        nsmap={"dcc": DCC, "si": SI},
        schemaVersion=VERSION,
    )
    _administrative(add(root, "administrativeData"), certificate, country)
    add_measurement(add(add(root, "measurementResults"), "measurementResult"), certificate)
    return bytes(etree.tostring(root, xml_declaration=True, encoding="UTF-8", pretty_print=True))


def _administrative(parent: Element, certificate: Certificate, country: str) -> None:
    """Add who calibrated what, when and for whom, and the statements."""
    add_software(add(parent, "dccSoftware"), certificate.software)
    core = add(parent, "coreData")
    add(core, "countryCodeISO3166_1", country)
    add(core, "usedLangCodeISO639_1", "en")
    add(core, "mandatoryLangCodeISO639_1", "en")
    add(core, "uniqueIdentifier", certificate.run_id)
    add(core, "beginPerformanceDate", _date(certificate.begun_at))
    add(core, "endPerformanceDate", _date(certificate.ended_at))
    add(core, "performanceLocation", "other")  # nobody has recorded it
    _item(add(add(parent, "items"), "item"), certificate)
    _contact(add(add(parent, "calibrationLaboratory"), "contact"), certificate.bench)
    persons = add(parent, "respPersons")
    for number, operator in enumerate(certificate.operators):
        person = add(persons, "respPerson")
        add_words(add(person, "person"), "name", operator)
        add(person, "mainSigner", "true" if number == 0 else "false")
    _contact(add(parent, "customer"), certificate.asset.department or NOT_RECORDED)
    _statements(add(parent, "statements"), certificate)


def _date(at: datetime) -> str:
    """A time as a date in UTC."""
    return f"{at.astimezone(UTC):%Y-%m-%d}"


def _contact(contact: Element, name: str) -> None:
    """Add a name whose address is not recorded."""
    add_words(contact, "name", name)
    add_words(add(contact, "location"), "further", NOT_RECORDED, english=True)


def _item(item: Element, certificate: Certificate) -> None:
    """Add the unit under test: maker, model, serial number and asset."""
    unit = certificate.asset
    add_words(item, "name", "Electrosurgical (HF surgery) generator", english=True)
    add_words(add(item, "manufacturer"), "name", unit.maker)
    add(item, "model", unit.model)
    identifications = add(item, "identifications")
    add_identification(identifications, "manufacturer", unit.serial, "Serial number")
    add_identification(identifications, "owner", unit.id, "Asset")


def _statements(parent: Element, certificate: Certificate) -> None:
    """Add the statements of the certificate, and the verdict of the whole."""
    said = [
        *notes_of(certificate),
        *CAUTIONS,
        *interruption_lines(certificate.parts),
        *certificate.remarks,
    ]
    said += [f"Protection of the bench: {one}" for one in protection_lines(certificate.parts)]
    if certificate.seed is not None:
        said.insert(0, f"SIMULATED, seed {certificate.seed}: no evidence about any real unit.")
    if certificate.head is not None:
        said.append(f"The record ends in the hash {certificate.head}.")
    for text in said:
        add_words(add(parent, "statement"), "declaration", text, english=True)
    overall = add(parent, "statement")
    add_words(overall, "name", f"Result of the whole: {certificate.verdict}", english=True)
    add_conformity(overall, certificate.verdict)
