"""What a certificate says beside its tables, in words: who, what, when, where, by what leave."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from math import isinf

from ohmwright.model.result import Result
from ohmwright.model.traceability import Environment, Traceability

from .certificate import Certificate
from .parts import Part
from .resting_on import Basis, letter, rests_on
from .text import UNKNOWN, minute, shown

Facts = tuple[tuple[str, str], ...]


def facts_of(certificate: Certificate) -> Iterable[tuple[str, Facts]]:
    """Each block of facts with its heading, all text fit to be shown."""
    unit = certificate.asset
    yield (
        "Unit under test",
        _shown(
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
        _shown(
            ("Carried out by", ", ".join(certificate.operators)),
            ("Begun", minute(certificate.begun_at)),
            ("Ended", minute(certificate.ended_at)),
            ("RF on for", _onminute(certificate)),
            ("Bench", certificate.bench),
            ("Room", _by_part(certificate.parts, lambda part: _room(part.environment))),
        ),
    )
    yield "Procedure", _procedure(certificate)
    yield (
        "Analyzer",
        _shown(
            ("Instrument", certificate.analyzer),
            *_traceability(certificate.marks.bases),
        ),
    )


def _procedure(certificate: Certificate) -> Facts:
    seed = () if certificate.seed is None else (("Simulation seed", str(certificate.seed)),)
    return _shown(
        ("Title", certificate.procedure),
        ("Revision", certificate.revision),
        ("SHA-256", certificate.procedure_digest),
        ("Values hold at", _ages(certificate.results)),
        ("Software", _by_part(certificate.parts, lambda part: part.software or UNKNOWN)),
        *seed,
    )


def _ages(results: Iterable[Result]) -> str:
    ages = {r.measured.age_s for r in results if r.measured is not None and r.load_ohm is not None}
    return f"{', '.join(f'{age:g} s' for age in sorted(ages)) or UNKNOWN} of a rested activation"


def _shown(*facts: tuple[str, str]) -> Facts:
    return tuple((label, shown(value)) for label, value in facts)


def _onminute(certificate: Certificate) -> str:
    open_end = any(part.rf_left_open for part in certificate.parts)
    said, untold_s = f"{certificate.on_s:.0f} s", certificate.untold_s
    if open_end:
        return f"at least {said}: an interruption left RF in a state that could not be read"
    if untold_s == 0:
        return said
    more = "and more" if isinf(untold_s) else f"and at most {untold_s:.0f} s more"
    return f"{said}, {more}: an activation has no end on record"


def _by_part(parts: Sequence[Part], said: Callable[[Part], str]) -> str:
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
    return ", ".join(read) or UNKNOWN


def _traceability(bases: Sequence[Basis]) -> Iterable[tuple[str, str]]:
    """What the values rest on: in lines where it is one for all, else each by its letter."""
    if not bases:
        yield "Traceability", "no value was measured"
    elif len(bases) > 1:
        for place, basis in enumerate(bases):
            yield f"Values {letter(place)}" if place else "Most values", rests_on(basis)
    elif isinstance(known := bases[0], Traceability):
        yield "Certificate", known.certificate
        yield "Laboratory", known.laboratory
        yield "Calibrated", f"{known.calibrated_on}, due {known.due_on}"
        if known.expired:
            yield "Expired", "past due when used, and accepted by the operator"
    else:
        yield "Traceability", rests_on(bases[0])


_UNPROVED = "as data and command sets say; none was proved with RF on before the run began"


def protections(parts: Sequence[Part]) -> Iterable[str]:
    """What protected the bench, each on a line, and what it lacked; by parts where they differ."""
    alike = len({(part.protections, part.proofs) for part in parts}) == 1
    for part in parts[:1] if alike else parts:
        named = "" if alike else f"part {part.number}: "
        if part.protections is None:
            yield f"{named}{UNKNOWN}"
            continue
        for words, there in part.protections.words():
            yield f"{named}{words}" if there else f"{named}absent: {words}"
        for proof in part.proofs:
            yield shown(f"{named}seen to work with RF on: {proof}")
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


def interruptions(parts: Sequence[Part]) -> Iterable[str]:
    """Each part of a run of several: who began it when, how it ended, in which room."""
    if len(parts) == 1:
        return
    for part in parts:
        how = "begun" if part.number == 1 else "resumed"
        why = f"interrupted {minute(part.ended_at)}: {part.cut_short_by.rstrip('.')}"
        end = why if part.cut_short_by else f"finished {minute(part.ended_at)}"
        count = len(part.results)
        left = f" Left open: {part.left_open.rstrip('.')}." if part.left_open else ""
        left += _RF_OPEN if part.rf_left_open else ""
        changed = f" Changed: {', '.join(part.changed)}." if part.changed else ""
        yield shown(
            f"Part {part.number}: {how} {minute(part.begun_at)} by {part.operator or UNKNOWN}; "
            f"{end}. {count} result{'' if count == 1 else 's'}. Room: {_room(part.environment)}."
            f"{changed}{left}"
        )
