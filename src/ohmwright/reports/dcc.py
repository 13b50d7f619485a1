"""The certificate as a digital calibration certificate (DCC) in PTB's open XML schema.

Version 3.3.0, whose numbers follow D-SI 2.2.1, which it imports. Every element written here was
held against the published text of both, and the units against PTB's parser of them (decision 42
in DEVELOPERS.md); `dcc_schema` holds a file against the schema itself.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from itertools import groupby

from lxml import etree

from ohmwright.model import quantity as quantities
from ohmwright.model.result import Result, Verdict
from ohmwright.model.traceability import Traceability

from .certificate import Certificate
from .certificate_text import CAUTIONS, notes_of
from .dcc_elements import DCC, SI, Element, add, add_real, add_words
from .details import interruptions, protections
from .measuring_conditions import conditions_of_result
from .run_parts import RunPart
from .text import NOT_RECORDED, limits_text, unit_symbol
from .traceability_marks import ValueMarks, traceability_text

VERSION = "3.3.0"
UNKNOWN_COUNTRY = "ZZ"
"""ISO 3166-1 leaves it to its users; here it means that nobody has said."""
_CONFORMITY: dict[Verdict, str] = {"pass": "pass", "fail": "fail"}


def certificate_dcc(certificate: Certificate, country: str = UNKNOWN_COUNTRY) -> bytes:
    """The XML, in UTF-8. `country` is the ISO 3166-1 code of where the work was done."""
    root = etree.Element(
        f"{{{DCC}}}digitalCalibrationCertificate",
        nsmap={"dcc": DCC, "si": SI},
        schemaVersion=VERSION,
    )
    _administrative(add(root, "administrativeData"), certificate, country)
    _measured(add(add(root, "measurementResults"), "measurementResult"), certificate)
    return bytes(etree.tostring(root, xml_declaration=True, encoding="UTF-8", pretty_print=True))


def _administrative(parent: Element, certificate: Certificate, country: str) -> None:
    _software(add(parent, "dccSoftware"), certificate.software)
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


def _software(parent: Element, software: str) -> None:
    name, _, version = software.partition(" ")
    number = re.match(r"\d{1,3}(\.\d{1,3}){0,3}", version)
    one = add(parent, "software")
    add_words(one, "name", name)
    add(one, "release", f"v{number[0] if number else 0}")


def _date(at: datetime) -> str:
    return f"{at.astimezone(UTC):%Y-%m-%d}"


def _contact(contact: Element, name: str) -> None:
    add_words(contact, "name", name)
    add_words(add(contact, "location"), "further", NOT_RECORDED, english=True)


def _item(item: Element, certificate: Certificate) -> None:
    unit = certificate.asset
    add_words(item, "name", "Electrosurgical (HF surgery) generator", english=True)
    add_words(add(item, "manufacturer"), "name", unit.maker)
    add(item, "model", unit.model)
    identifications = add(item, "identifications")
    _identification(identifications, "manufacturer", unit.serial, "Serial number")
    _identification(identifications, "owner", unit.id, "Asset")


def _identification(parent: Element, issuer: str, value: str, name: str) -> None:
    one = add(parent, "identification")
    add(one, "issuer", issuer)
    add(one, "value", value)
    add_words(one, "name", name, english=True)


def _statements(parent: Element, certificate: Certificate) -> None:
    said = [
        *notes_of(certificate),
        *CAUTIONS,
        *interruptions(certificate.parts),
        *certificate.remarks,
    ]
    said += [f"Protection of the bench: {one}" for one in protections(certificate.parts)]
    if certificate.seed is not None:
        said.insert(0, f"SIMULATED, seed {certificate.seed}: no evidence about any real unit.")
    if certificate.head is not None:
        said.append(f"The record ends in the hash {certificate.head}.")
    for text in said:
        add_words(add(parent, "statement"), "declaration", text, english=True)
    overall = add(parent, "statement")
    add_words(overall, "name", f"Result of the whole: {certificate.verdict}", english=True)
    _conformity(overall, certificate.verdict)


def _conformity(statement: Element, verdict: Verdict) -> None:
    """Pass or fail; any other verdict is said in words elsewhere.

    The schema has four words more, conditionalPass, conditionalFail, noPass and noFail, but does
    not say what they mean, and undecided must never read as a kind of pass.
    """
    if verdict in _CONFORMITY:
        add(statement, "conformity", _CONFORMITY[verdict])


def _measured(parent: Element, certificate: Certificate) -> None:
    add_words(parent, "name", "Output of the generator", english=True)
    method = add(add(parent, "usedMethods"), "usedMethod")
    add_words(method, "name", certificate.procedure)
    add_words(
        method,
        "description",
        f"Revision {certificate.revision}; SHA-256 {certificate.procedure_digest}",
        *(f"In the record: {one.role}, {one.name}, {one.sha256}" for one in certificate.documents),
        *(f"Decision rule: {rule}" for rule in certificate.rules),
    )
    _software(add(parent, "usedSoftware"), certificate.software)
    _equipment(add(parent, "measuringEquipments"), certificate)
    _room(add(parent, "influenceConditions"), certificate.parts)
    results = add(parent, "results")
    if not certificate.results:
        _nothing(add(results, "result"))
    by_stage = sorted(
        certificate.results, key=lambda r: ("as_found", "adjust", "as_left").index(r.stage)
    )
    for (stage, step), found in groupby(by_stage, key=lambda r: (r.stage, r.step)):
        name = f"{stage.replace('_', ' ')}, {step}"
        _step(add(results, "result"), name, found, certificate.marks)


def _equipment(parent: Element, certificate: Certificate) -> None:
    one = add(parent, "measuringEquipment")
    add_words(one, "name", certificate.analyzer)
    bases = certificate.marks.bases
    said = [f"U traceable to {traceability_text(basis)}" for basis in bases] or [
        "No value was measured"
    ]
    if len(bases) > 1:
        said.append("Which of these each value is traceable to is said with the value")
    add_words(one, "description", *said, english=True)
    calibrated = [basis for basis in bases if isinstance(basis, Traceability)]
    if not calibrated:
        return
    identifications = add(one, "identifications")
    for known in calibrated:
        _identification(identifications, "other", known.certificate, "Calibration certificate")


def _room(parent: Element, parts: Sequence[RunPart]) -> None:
    """The room, once where it was the same in every part of the run."""
    alike = len({part.environment for part in parts}) == 1
    read = [
        (name if alike else f"{name}, part {part.number}", value, unit)
        for part in (parts[:1] if alike else parts)
        if (room := part.environment) is not None
        for name, value, unit in (
            ("Temperature", room.temperature_c, r"\degreecelsius"),
            ("Relative humidity", room.humidity_percent, r"\percent"),
        )
        if value is not None
    ]
    for name, value, unit in read:
        condition = add(parent, "influenceCondition")
        add_words(condition, "name", name, english=True)
        quantity = add(add(condition, "data"), "quantity")
        add_words(quantity, "name", name, english=True)
        add_real(quantity, value, unit)
    if not read:
        condition = add(parent, "influenceCondition")
        add_words(condition, "name", "Room", english=True)
        add_words(add(condition, "data"), "text", NOT_RECORDED, english=True)


def _nothing(parent: Element) -> None:
    """`resultListType` asks for one result at least, and a run of instructions has none."""
    add_words(parent, "name", "Results", english=True)
    add_words(add(parent, "data"), "text", "The procedure has no points.", english=True)


def _step(parent: Element, name: str, results: Iterable[Result], marks: ValueMarks) -> None:
    add_words(parent, "name", name)
    data = add(parent, "data")
    for result in results:
        _point(data, result, marks)


def _point(data: Element, result: Result, marks: ValueMarks) -> None:
    measured, target = result.measured, result.target
    quantity = add(data, "quantity")
    add_words(quantity, "name", result.point)
    said = [conditions_of_result(result).words()]
    if target is not None:
        said.append(f"Limits {limits_text(target)} {unit_symbol(target, measured)}".rstrip())
    add_words(quantity, "description", *filter(None, said), english=True)
    kind = measured and (measured.quantity or (target and target.quantity))
    if measured is None or not kind:
        add_words(quantity, "noQuantity", "No value with a unit", english=True)
    else:
        add_real(quantity, measured.value, quantities.unit_of(kind).d_si, measured)
    _decision(add(add(quantity, "measurementMetaData"), "metaData"), result, marks)


def _decision(meta: Element, result: Result, marks: ValueMarks) -> None:
    said = [", ".join(filter(None, (f"Verdict: {result.verdict}", result.reason)))]
    held = result.conformity
    if held is not None:
        said.append(f"Rule: {held.rule}")
        said.append(f"Probability of conformity: {held.probability:.6g}")
        if held.uncertainty_ratio is not None:
            said.append(f"Test uncertainty ratio: {held.uncertainty_ratio:.3g}")
    if measured_in := marks.part_of(result):
        said.append(f"Part of the run: {measured_in}")
    if result.measured is not None:
        said.append(f"U traceable to: {traceability_text(result.traceability)}")
    if result.final_trim is not None:
        said.append(f"Trim: {result.start_trim} to {result.final_trim}")
    add_words(meta, "declaration", "; ".join(said), english=True)
    _conformity(meta, result.verdict)
