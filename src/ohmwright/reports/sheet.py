"""The words of a certificate, once for every form it takes on paper or screen."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from itertools import groupby
from typing import Any

from ohmwright.model.result import Result
from ohmwright.model.traceability import Environment, Traceability

from .certificate import Adjustment, Certificate, Line
from .curves import curves_of, drawn
from .text import (
    UNKNOWN,
    four_digits,
    limits,
    percent,
    ratio,
    shown,
    to_place,
    unit_of,
    value_and_u,
)

Facts = tuple[tuple[str, str], ...]

CAUTIONS = (
    "HF output burns and ignites. Work on the unit is for qualified staff, with the unit "
    "disconnected from any patient; the maker's service manual and local codes come first.",
    "A value holds at the stated age of an activation that began rested, into the stated load "
    "resistance, with the settings of the procedure; it says nothing of other conditions.",
    "Electrical-safety tests are not part of this certificate unless listed as a point.",
)
NOTES = (
    "U: expanded uncertainty, of about 95 % coverage (GUM). Where none is given, none is known.",
    "P: probability that the true value lies within the limits. TUR: half the tolerance over U.",
    "Undecided is neither pass nor fail; it is never rounded to a pass.",
    "The adjustment is decided on a rested confirmation after the last move of the trim.",
)


@dataclass(frozen=True)
class Outcome:
    """One reading with its verdict, as text; empty where there is none."""

    value: str = ""
    expanded: str = ""
    error: str = ""
    probability: str = ""
    ratio: str = ""
    verdict: str = ""


@dataclass(frozen=True)
class Row:
    """One point of a table."""

    point: str
    target: str
    limits: str
    accepted: str
    """The limits that the decision rule leaves, where it narrows them."""
    unit: str
    found: Outcome
    left: Outcome


@dataclass(frozen=True)
class Group:
    """The points of one step."""

    step: str
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Moved:
    """One adjustment point."""

    point: str
    load: str
    limits: str
    unit: str
    trim: str
    moves: str
    left: Outcome


@dataclass(frozen=True)
class Picture:
    """A power curve: SVG, and what it shows in words."""

    title: str
    svg: str
    alt: str


@dataclass(frozen=True)
class Sheet:
    """Everything that a certificate shows, in the order in which it shows it."""

    title: str
    number: str
    issued: str
    verdict: str
    verdict_found: str
    verdict_left: str
    simulated: str
    """Empty for a real unit."""
    facts: tuple[tuple[str, Facts], ...]
    groups: tuple[Group, ...]
    stages: tuple[str, ...]
    adjustments: tuple[Moved, ...]
    reasons: tuple[str, ...]
    pictures: tuple[Picture, ...]
    rules: tuple[str, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    head: str

    def document(self) -> dict[str, Any]:
        """The sheet as plain data, fit for JSON."""
        return asdict(self)


def sheet_of(certificate: Certificate) -> Sheet:
    """Word `certificate`. Draws its power curves."""
    return Sheet(
        title="Certificate of calibration",
        number=shown(certificate.run_id),
        issued=f"{certificate.ended_at.astimezone(UTC):%Y-%m-%d}",
        verdict=certificate.verdict,
        verdict_found=_verdict(certificate, "as_found"),
        verdict_left=_verdict(certificate, "as_left"),
        simulated=_simulated(certificate.seed),
        facts=tuple(_facts(certificate)),
        groups=tuple(_groups(certificate.lines)),
        stages=tuple(s for s in ("as_found", "as_left") if s in certificate.stages),
        adjustments=tuple(_moved(adjustment) for adjustment in certificate.adjustments),
        reasons=tuple(_reasons(certificate)),
        pictures=tuple(
            Picture(shown(curve.title), drawn(curve), shown(curve.alt()))
            for curve in curves_of(certificate)
        ),
        rules=tuple(shown(rule) for rule in certificate.rules),
        cautions=CAUTIONS,
        notes=NOTES,
        head=certificate.head or "",
    )


def _verdict(certificate: Certificate, stage: Any) -> str:
    return certificate.verdict_of(stage) if stage in certificate.stages else ""


def _simulated(seed: int | None) -> str:
    if seed is None:
        return ""
    return f"Simulated unit and instruments, seed {seed}: no evidence about any real unit."


def _facts(certificate: Certificate) -> Iterable[tuple[str, Facts]]:
    unit = certificate.asset
    yield (
        "Unit under test",
        _facts_of(
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
        _facts_of(
            ("Carried out by", ", ".join(certificate.operators)),
            ("Begun", _time(certificate.begun_at)),
            ("Ended", _time(certificate.ended_at)),
            ("RF on for", f"{certificate.on_s:.0f} s"),
            ("Bench", certificate.bench),
            ("Room", _rooms(certificate.environment)),
        ),
    )
    yield "Procedure", _procedure(certificate)
    yield (
        "Analyzer",
        _facts_of(
            ("Instrument", certificate.analyzer),
            *_traceability(certificate.traceability),
        ),
    )


def _procedure(certificate: Certificate) -> Facts:
    seed = () if certificate.seed is None else (("Simulation seed", str(certificate.seed)),)
    return _facts_of(
        ("Title", certificate.procedure),
        ("Revision", certificate.revision),
        ("SHA-256", certificate.procedure_digest),
        ("Values hold at", _ages(certificate.results)),
        ("Software", certificate.software),
        *seed,
    )


def _ages(results: Iterable[Result]) -> str:
    ages = {r.measured.age_s for r in results if r.measured is not None and r.load_ohm is not None}
    return f"{', '.join(f'{age:g} s' for age in sorted(ages)) or UNKNOWN} of a rested activation"


def _facts_of(*facts: tuple[str, str]) -> Facts:
    return tuple((label, shown(value)) for label, value in facts)


def _time(at: datetime) -> str:
    return f"{at.astimezone(UTC):%Y-%m-%d %H:%M} UTC"


def _rooms(rooms: Sequence[Environment]) -> str:
    return "; ".join(filter(None, map(_room, rooms))) or UNKNOWN


def _room(room: Environment) -> str:
    temperature_c, humidity_percent = room.temperature_c, room.humidity_percent
    return ", ".join(
        ([] if temperature_c is None else [f"{temperature_c:g} °C"])
        + ([] if humidity_percent is None else [f"{humidity_percent:g} % relative humidity"])
    )


def _traceability(known: Sequence[Traceability]) -> Iterable[tuple[str, str]]:
    if not known:
        yield "Traceability", "none: no analyzer certificate; U is of the readings alone"
    for one in known:
        yield "Certificate", one.certificate
        yield "Laboratory", one.laboratory
        yield "Calibrated", f"{one.calibrated_on}, due {one.due_on}"
        if one.expired:
            yield "Expired", "past due when used, and accepted by the operator"


def _groups(lines: Sequence[Line]) -> Iterable[Group]:
    for step, within in groupby(lines, key=lambda line: line.step):
        yield Group(shown(step), tuple(_row(line) for line in within))


def _row(line: Line) -> Row:
    target = line.last.target
    one_sided = target is None or target.one_sided
    return Row(
        point=shown(line.point).replace(" ohm", " Ω"),
        target="" if target is None or one_sided else four_digits(target.value, target),
        limits="" if target is None else limits(target),
        accepted=_accepted(line.last),
        unit=unit_of(target, line.last.measured),
        found=_outcome(line.found),
        left=_outcome(line.left),
    )


def _accepted(result: Result) -> str:
    held, target = result.conformity, result.target
    if held is None or target is None:
        return ""
    low = target.lower if held.accept_from is None else held.accept_from
    high = target.upper if held.accept_to is None else held.accept_to
    if low <= target.lower and high >= target.upper:
        return ""
    high_text = four_digits(high, target)
    return f"≤ {high_text}" if target.one_sided else f"{four_digits(low, target)} to {high_text}"


def _outcome(result: Result | None) -> Outcome:
    if result is None:
        return Outcome()
    value, expanded = ("", "") if result.measured is None else value_and_u(result.measured)
    held = result.conformity
    return Outcome(
        value=value,
        expanded=expanded,
        error=_error(result),
        probability="" if held is None else percent(held),
        ratio="" if held is None else ratio(held),
        verdict=result.verdict,
    )


def _error(result: Result) -> str:
    error, target = result.error, result.target
    if error is None or target is None or target.one_sided:
        return ""
    relative = 100 * error / target.value
    return ("+" if relative >= 0 else "") + to_place(relative, 1)


def _moved(adjustment: Adjustment) -> Moved:
    result = adjustment.result
    trims = (result.start_trim, result.final_trim)
    return Moved(
        point=shown(result.point),
        load="" if result.load_ohm is None else f"{result.load_ohm:g} Ω",
        limits="" if result.target is None else limits(result.target),
        unit=unit_of(result.target, result.measured),
        trim=" to ".join("?" if trim is None else to_place(trim, 0) for trim in trims),
        moves=str(adjustment.moves),
        left=_outcome(result),
    )


def _reasons(certificate: Certificate) -> Iterable[str]:
    """Why each point that did not pass did not, and what interrupted the run."""
    for result in certificate.results:
        if result.verdict != "pass":
            where = f"{result.stage.replace('_', ' ')}, {result.step}, {result.point}"
            why = ", ".join(filter(None, (result.verdict, result.reason)))
            yield shown(f"{where}: {why}").replace(" ohm", " Ω")
    for message in certificate.interruptions:
        yield shown(f"Interrupted, then resumed: {message}")
