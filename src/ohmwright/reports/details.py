"""The details of a certificate beside its tables: issue, unit, work, procedure, analyzer."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import UTC

from ohmwright.engine.unit_identity import other_serial
from ohmwright.model.by_hand import NO_PORT
from ohmwright.model.paper import Corrections, PaperData
from ohmwright.model.result import Result
from ohmwright.model.traceability import Traceability
from ohmwright.records.run_number import time_in_number

from .certificate import Certificate
from .issue import Issue
from .measurand_text import is_output
from .part_texts import room_text
from .run_parts import RunPart, on_time_text
from .text import NOT_RECORDED, minute_text, printable
from .traceability_marks import ValueMarks, mark_letter, traceability_text

Details = tuple[tuple[str, str], ...]


def detail_blocks(certificate: Certificate) -> Iterable[tuple[str, Details]]:
    """Each block of details with its heading: pairs of label and value, as printable text."""
    unit = certificate.asset
    wrong = corrected_texts(certificate)
    yield "This paper", _this_paper(certificate.issue)
    yield "Customer and receipt", _receipt(certificate.issue.paper)
    yield (
        "Unit under test",
        _printable(
            ("Asset", unit.id),
            ("Maker", f"{unit.maker}{wrong['maker']}"),
            ("Model", f"{unit.model}{wrong['model']}"),
            ("Serial number", f"{unit.serial}{wrong['serial']}{unread_text(certificate)}"),
            ("Department", f"{unit.department}{wrong['department']}"),
            *([("Owner", certificate.owner)] if certificate.owner else []),
            *answer_of_unit(certificate),
        ),
    )
    yield (
        "Work",
        _printable(
            ("Carried out by", ", ".join(certificate.operators)),
            *([("Work order", order)] if (order := ", ".join(certificate.work_orders)) else []),
            ("Begun", f"{minute_text(certificate.begun_at)}{_other_clock(certificate)}"),
            ("Ended", minute_text(certificate.ended_at)),
            ("RF on for", on_time_text(certificate.on_s, certificate.parts)),
            *([] if "adjust" in certificate.stages else [("Adjusted", "nothing in this run")]),
            ("Bench", certificate.bench),
            ("Room", _by_part(certificate.parts, _room)),
        ),
    )
    yield "Procedure", _procedure(certificate)
    yield (
        "Analyzer",
        _printable(
            ("Instrument", certificate.analyzer),
            *_traceability(certificate.marks),
        ),
    )


def unread_text(certificate: Certificate) -> str:
    """Words behind the serial number: who told it, where no instrument read it; else empty."""
    return f" ({certificate.unread})" if certificate.unread else ""


def _other_clock(certificate: Certificate) -> str:
    """Words behind the begin of a simulated run whose number has another date: why; else empty."""
    numbered = time_in_number(certificate.run_id)
    if certificate.seed is None or numbered is None:
        return ""
    if numbered.date() == certificate.begun_at.astimezone(UTC).date():
        return ""
    return " (by the simulated bench's own clock; the number has the computer's date)"


def answer_of_unit(certificate: Certificate) -> Details:
    """How the unit answers at its port; nothing of a unit without a port."""
    if NO_PORT in certificate.generator:
        return ()
    return (("Answers as", f"{certificate.generator}{_other_serial(certificate)}"),)


def _other_serial(certificate: Certificate) -> str:
    """Words behind how the unit answers: that it told another serial number; else empty."""
    told = other_serial(certificate.generator, certificate.asset.serial)
    if told is None:
        return ""
    return f" (its serial number there, {told}, is not the one above)"


def corrected_texts(certificate: Certificate) -> dict[str, str]:
    """Words behind each detail of the unit: what the record says, where corrected; else empty."""
    recorded, corrected = certificate.recorded_asset, certificate.issue.paper.corrections.given()
    return {
        name: f" (corrected; in the record: {getattr(recorded, name) or NOT_RECORDED})"
        if name in corrected
        else ""
        for name in Corrections.model_fields
    }


def _this_paper(issue: Issue) -> Details:
    """Whose certificate it is, its issue, and where the work was done."""
    label = "Replaces" if issue.approvals else "Is to replace"
    paper, replaces = issue.paper, () if not issue.replaces else ((label, issue.replaces),)
    nobody = () if paper.laboratory else (("Laboratory", ""),)
    return _printable(
        *nobody,
        ("Number", issue.number),
        *replaces,
        ("Issued", f"{issue.issued_on}" if issue.issued_on else "not approved yet"),
        ("Place of work", paper.place),
    )


def _receipt(paper: PaperData) -> Details:
    """The customer, and when and how the unit was received."""
    customer = paper.customer
    address = (("Address", ", ".join(customer.address)),) if customer and customer.address else ()
    return _printable(
        ("Name", customer.name if customer else ""),
        *address,
        ("Received", f"{paper.received_on}" if paper.received_on else ""),
        ("Condition", paper.condition),
    )


def _procedure(certificate: Certificate) -> Details:
    """Procedure, the age at which values hold, and software."""
    seed = () if certificate.seed is None else (("Simulation seed", str(certificate.seed)),)
    return _printable(
        ("Title", certificate.procedure),
        ("Revision", certificate.revision),
        ("SHA-256", certificate.procedure_digest),
        ("Values hold at", _ages(certificate.results)),
        ("Software", _by_part(certificate.parts, lambda part: part.software or NOT_RECORDED)),
        *seed,
    )


def _ages(results: Iterable[Result]) -> str:
    """The ages of an activation at which the values hold, as text.

    Those of outputs, with their lag taken off, where there is one; else those of shapes and times,
    which have no lag.
    """
    found = [r for r in results if r.measured is not None and r.load_ohm is not None]
    outputs = [r for r in found if is_output(r)]
    ages = sorted({r.measured.age_s for r in outputs or found if r.measured is not None})
    if not ages:
        return NOT_RECORDED
    lag = ", lag taken off" if outputs else ""
    return f"{', '.join(f'{age:g} s' for age in ages)} of an activation{lag}"


def _printable(*facts: tuple[str, str]) -> Details:
    """Pairs of label and value, the values as printable text."""
    return tuple((label, printable(value)) for label, value in facts)


def _room(part: RunPart) -> str:
    return room_text(part.environment, part.operator)


def _by_part(parts: Sequence[RunPart], said: Callable[[RunPart], str]) -> str:
    """What `said` says of every part of the run; once where it is equal for all."""
    each = {part.number: said(part) for part in parts}
    if len(different := set(each.values())) == 1:
        return different.pop()
    return "; ".join(f"part {number}: {words}" for number, words in each.items())


def _traceability(marks: ValueMarks) -> Iterable[tuple[str, str]]:
    """What the values are traceable to: label and value, one pair for each where they differ."""
    bases = marks.bases
    if not bases:
        yield "Traceability", "no value was measured"
    elif len(bases) > 1:
        for place, basis in enumerate(bases):
            yield (
                f"Values with letter {mark_letter(place)}" if place else "Values without a letter",
                f"{marks.resting_on[place]}: {traceability_text(basis)}",
            )
    elif isinstance(known := bases[0], Traceability):
        named = f" ({known.serial_words})" if known.serial_words else ""
        yield "Certificate", f"{known.certificate}{named}"
        yield "Laboratory", known.laboratory
        yield "Calibrated", f"{known.calibrated_on}, due {known.due_on}"
        if known.expired:
            yield "Expired", "past due when used, and accepted by the operator"
    else:
        yield "Traceability", traceability_text(bases[0])
