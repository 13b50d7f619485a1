"""What a certificate says beside its tables, in words: who, what, when, where, by what leave."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from math import isinf

from ohmwright.model.result import Result
from ohmwright.model.traceability import Environment, Traceability

from .certificate import Certificate
from .run_parts import RunPart
from .text import NOT_RECORDED, minute_text, printable
from .traceability_marks import TraceabilityBasis, mark_letter, traceability_text

Details = tuple[tuple[str, str], ...]


def detail_blocks(certificate: Certificate) -> Iterable[tuple[str, Details]]:
    """Each block of facts with its heading, all text fit to be shown."""
    unit = certificate.asset
    yield (
        "Unit under test",
        _printable(
            ("Asset", unit.id),
            ("Maker", unit.maker),
            ("Model", unit.model),
            ("Serial number", unit.serial),
            ("Department", unit.department),
            ("Answers as", certificate.generator),
        ),
    )
    yield (
        "Work",
        _printable(
            ("Carried out by", ", ".join(certificate.operators)),
            ("Begun", minute_text(certificate.begun_at)),
            ("Ended", minute_text(certificate.ended_at)),
            ("RF on for", _on_time_text(certificate)),
            ("Bench", certificate.bench),
            ("Room", _by_part(certificate.parts, lambda part: _room(part.environment))),
        ),
    )
    yield "Procedure", _procedure(certificate)
    yield (
        "Analyzer",
        _printable(
            ("Instrument", certificate.analyzer),
            *_traceability(certificate.marks.bases),
        ),
    )


def _procedure(certificate: Certificate) -> Details:
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
    ages = {r.measured.age_s for r in results if r.measured is not None and r.load_ohm is not None}
    return (
        f"{', '.join(f'{age:g} s' for age in sorted(ages)) or NOT_RECORDED} of a rested activation"
    )


def _printable(*facts: tuple[str, str]) -> Details:
    return tuple((label, printable(value)) for label, value in facts)


def _on_time_text(certificate: Certificate) -> str:
    open_end = any(part.rf_left_open for part in certificate.parts)
    said, unrecorded_on_s = f"{certificate.on_s:.0f} s", certificate.unrecorded_on_s
    if open_end:
        return f"at least {said}: an interruption left RF in a state that could not be read"
    if unrecorded_on_s == 0:
        return said
    more = "and more" if isinf(unrecorded_on_s) else f"and at most {unrecorded_on_s:.0f} s more"
    return f"{said}, {more}: an activation has no end on record"


def _by_part(parts: Sequence[RunPart], said: Callable[[RunPart], str]) -> str:
    """What is said of every part, once where it is the same of all."""
    each = {part.number: said(part) for part in parts}
    if len(set(each.values())) == 1:
        return each[1]
    return "; ".join(f"part {number}: {words}" for number, words in each.items())


def _room(room: Environment | None) -> str:
    temperature_c = None if room is None else room.temperature_c
    humidity_percent = None if room is None else room.humidity_percent
    read = ([] if temperature_c is None else [f"{temperature_c:g} °C"]) + (
        [] if humidity_percent is None else [f"{humidity_percent:g} % relative humidity"]
    )
    return ", ".join(read) or NOT_RECORDED


def _traceability(bases: Sequence[TraceabilityBasis]) -> Iterable[tuple[str, str]]:
    """What the values rest on: in lines where it is one for all, else each by its letter."""
    if not bases:
        yield "Traceability", "no value was measured"
    elif len(bases) > 1:
        for place, basis in enumerate(bases):
            yield (
                f"Values {mark_letter(place)}" if place else "Most values",
                traceability_text(basis),
            )
    elif isinstance(known := bases[0], Traceability):
        yield "Certificate", known.certificate
        yield "Laboratory", known.laboratory
        yield "Calibrated", f"{known.calibrated_on}, due {known.due_on}"
        if known.expired:
            yield "Expired", "past due when used, and accepted by the operator"
    else:
        yield "Traceability", traceability_text(bases[0])


_UNPROVED = "as data and command sets say; none was proved with RF on before the run began"


def protections(parts: Sequence[RunPart]) -> Iterable[str]:
    """What protected the bench, each on a line, and what it lacked; by parts where they differ."""
    alike = len({(part.protections, part.proofs) for part in parts}) == 1
    for part in parts[:1] if alike else parts:
        named = "" if alike else f"part {part.number}: "
        if part.protections is None:
            yield f"{named}{NOT_RECORDED}"
            continue
        for words, there in part.protections.words():
            yield f"{named}{words}" if there else f"{named}absent: {words}"
        for proof in part.proofs:
            yield printable(f"{named}seen to work with RF on: {proof}")
        if not part.proofs:
            yield f"{named}{_UNPROVED}"


def mark_notes(certificate: Certificate) -> Iterable[str]:
    """What the marks beside values mean."""
    if len(certificate.marks.bases) > 1:
        yield (
            "A letter beside a value: what its U is traceable to, as listed under Analyzer; most "
            "values have none."
        )
    if certificate.marks.figures:
        yield "A figure beside a value: the part of the run that it was measured in."


_RF_OPEN = (
    " RF was not known to be off then, and for how long it stayed on is not on record; the next "
    "part began with the output read as off."
)


def interruptions(parts: Sequence[RunPart]) -> Iterable[str]:
    """Each part of a run of several: who began it when, how it ended, in which room."""
    if len(parts) == 1:
        return
    for part in parts:
        how = "begun" if part.number == 1 else "resumed"
        why = f"interrupted {minute_text(part.ended_at)}: {part.cut_short_by.rstrip('.')}"
        end = why if part.cut_short_by else f"finished {minute_text(part.ended_at)}"
        count = len(part.results)
        left = f" Left open: {part.left_open.rstrip('.')}." if part.left_open else ""
        left += _RF_OPEN if part.rf_left_open else ""
        changed = f" Changed: {', '.join(part.changed)}." if part.changed else ""
        yield printable(
            f"Part {part.number}: {how} {minute_text(part.begun_at)} by "
            f"{part.operator or NOT_RECORDED}; {end}. {count} result{'' if count == 1 else 's'}. "
            f"Room: {_room(part.environment)}.{changed}{left}"
        )
