"""The measurement results of a digital calibration certificate."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby

from ohmwright.model import quantity as quantities
from ohmwright.model.result import Result
from ohmwright.model.traceability import Traceability

from .certificate import Certificate
from .dcc_elements import (
    Element,
    add,
    add_conformity,
    add_identification,
    add_real,
    add_software,
    add_words,
)
from .measurand_text import far_reading_text, measurand_text, read_until_text
from .measuring_conditions import conditions_of_result
from .result_tables import note_text, requirement_text
from .run_parts import RunPart
from .text import NOT_RECORDED, limits_text, printable, unit_symbol
from .traceability_marks import ValueMarks, traceability_text
from .verdict_grounds import ground_of, is_by_readings_alone, said_verdict


def add_measurement(parent: Element, certificate: Certificate) -> None:
    """Add methods, software, equipment, conditions of the room, and the results of each step."""
    add_words(parent, "name", "Output of the generator", english=True)
    method = add(add(parent, "usedMethods"), "usedMethod")
    add_words(method, "name", certificate.procedure)
    add_words(
        method,
        "description",
        f"Revision {certificate.revision}; SHA-256 {certificate.procedure_digest}",
        *(f"In the record: {one.role}, {one.name}, {one.sha256}" for one in certificate.documents),
        *(f"Decision rule: {rule}" for rule in certificate.rules),
        *filter(None, (measurand_text(certificate.results),)),
    )
    add_software(add(parent, "usedSoftware"), certificate.software)
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
        _step(add(results, "result"), name, found, certificate)


def _equipment(parent: Element, certificate: Certificate) -> None:
    """Add the analyzer and what its values are traceable to."""
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
        add_identification(identifications, "other", known.certificate, "Calibration certificate")


def _room(parent: Element, parts: Sequence[RunPart]) -> None:
    """Add temperature and humidity of the room; once where every part of the run has the same."""
    alike = len({part.environment for part in parts}) == 1
    read = [
        (name if alike else f"{name}, part {part.number}", value, unit, by)
        for part in (parts[:1] if alike else parts)
        if (room := part.environment) is not None
        for name, value, unit, by in (
            ("Temperature", room.temperature_c, r"\degreecelsius", room.temperature_told_by),
            ("Relative humidity", room.humidity_percent, r"\percent", room.humidity_told_by),
        )
        if value is not None
    ]
    for name, value, unit, by in read:
        condition = add(parent, "influenceCondition")
        add_words(condition, "name", name, english=True)
        quantity = add(add(condition, "data"), "quantity")
        add_words(quantity, "name", name, english=True)
        told = f"As told by {by}, not measured" if by else "As told, not measured"
        add_words(quantity, "description", told, english=True)
        add_real(quantity, value, unit)
    if not read:
        condition = add(parent, "influenceCondition")
        add_words(condition, "name", "Room", english=True)
        add_words(add(condition, "data"), "text", NOT_RECORDED, english=True)


def _nothing(parent: Element) -> None:
    """Add a result without points: the schema asks for one, and a run of instructions has none."""
    add_words(parent, "name", "Results", english=True)
    add_words(add(parent, "data"), "text", "The procedure has no points.", english=True)


def _step(parent: Element, name: str, results: Iterable[Result], certificate: Certificate) -> None:
    """Add the results of one step at one stage, each with what the procedure notes of the step."""
    add_words(parent, "name", name)
    data = add(parent, "data")
    for result in results:
        _point(data, result, certificate)


def _point(data: Element, result: Result, certificate: Certificate) -> None:
    """Add one result: value and uncertainty where there are any, conditions, limits, decision."""
    measured, target = result.measured, result.target
    quantity = add(data, "quantity")
    add_words(quantity, "name", result.point)
    said = [conditions_of_result(result).words(), read_until_text([result])]
    if far := far_reading_text(result):
        said.append(f"Last reading {far} {unit_symbol(target, measured)}")
    if target is not None:
        said.append(f"Limits {limits_text(target)} {unit_symbol(target, measured)}".rstrip())
    if result.requirement:
        said += [requirement_text(result), printable(result.held_against_it)]
    said.append(note_text(certificate, result.step))
    add_words(quantity, "description", *filter(None, said), english=True)
    kind = measured and (measured.quantity or (target and target.quantity))
    if measured is None or not kind:
        add_words(quantity, "noQuantity", "No value with a unit", english=True)
    else:
        of_true_value = None if is_by_readings_alone(result) else measured
        add_real(quantity, measured.value, quantities.unit_of(kind).d_si, of_true_value)
    _settings(quantity, result)
    _decision(add(add(quantity, "measurementMetaData"), "metaData"), result, certificate.marks)


def _settings(quantity: Element, result: Result) -> None:
    """Add mode, setting, load resistance and input path of a point, as far as it has them."""
    mode = None if result.mode is None else printable(result.mode)
    path = None if result.path in ("none", "only") else result.path
    settings: tuple[tuple[str, str | float | None, str], ...] = (
        ("Mode", mode, ""),
        ("Setting", result.setting_w, r"\watt"),
        ("Load resistance", result.load_ohm, r"\ohm"),
        ("Input path of the analyzer", path, ""),
    )
    known = [(name, value, unit) for name, value, unit in settings if value is not None]
    conditions = add(quantity, "influenceConditions") if known else None
    for name, value, unit in known:
        condition = add(conditions, "influenceCondition")
        add_words(condition, "name", name, english=True)
        data = add(condition, "data")
        if isinstance(value, str):
            add_words(data, "text", value, english=True)
        else:
            add_real(add(data, "quantity"), value, unit)


def _decision(meta: Element, result: Result, marks: ValueMarks) -> None:
    """Add verdict, rule, probability of conformity, traceability and trim of a result."""
    measured = result.measured is not None
    alone = measured and is_by_readings_alone(result)
    ground = ground_of(result) if measured else ""
    verdict = f"Verdict: {said_verdict(result.verdict, [result])}"
    said = [", ".join(filter(None, (verdict, ground, result.reason)))]
    held = result.conformity
    if held is not None:
        said.append(f"Rule: {held.rule}")
    if held is not None and not alone:
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
    if not ground:
        add_conformity(meta, result.verdict)
