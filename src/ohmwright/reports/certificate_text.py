"""The words of a certificate, once for every form it takes on paper or screen."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import UTC
from itertools import groupby
from typing import Any

from ohmwright.model.result import Result

from .certificate import AdjustedPoint, Certificate, CertifiedPoint
from .curves import curve_svg, plotted_curves
from .details import Details, detail_blocks, interruptions, mark_notes, protections
from .measuring_conditions import (
    MeasuringConditions,
    conditions_of_result,
    differing_conditions_text,
    shared_conditions,
)
from .text import (
    fixed_decimals,
    four_digits,
    limits_text,
    printable,
    probability_text,
    uncertainty_ratio_text,
    unit_symbol,
    value_and_uncertainty,
)
from .traceability_marks import ValueMarks

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
)
_ADJUSTED = "The adjustment is decided on a rested confirmation after the last move of the trim."


def notes_of(certificate: Certificate) -> tuple[str, ...]:
    """What the words and figures of this certificate mean."""
    adjusted = any(result.stage == "adjust" for result in certificate.results)
    seal = (certificate.seal_note,) if certificate.seal_note else ()
    return (*seal, *NOTES, *((_ADJUSTED,) if adjusted else ()))


@dataclass(frozen=True)
class ResultCells:
    """One reading with its verdict, as text; empty where there is none."""

    value: str = ""
    expanded: str = ""
    error: str = ""
    probability: str = ""
    ratio: str = ""
    verdict: str = ""
    mark: str = ""
    """What the value rests on and its part of the run, where not all are alike."""


@dataclass(frozen=True)
class PointRow:
    """One point of a table."""

    point: str
    at: str
    """How it was measured, as far as the other points of its step were measured otherwise."""
    target: str
    limits: str
    accepted: str
    """The limits that the decision rule leaves, where it narrows them."""
    unit: str
    found: ResultCells
    left: ResultCells


@dataclass(frozen=True)
class StepGroup:
    """The points of one step."""

    step: str
    at: str
    """How all of them were measured."""
    rows: tuple[PointRow, ...]


@dataclass(frozen=True)
class AdjustmentRow:
    """One adjustment point."""

    point: str
    at: str
    load: str
    limits: str
    unit: str
    trim: str
    moves: str
    left: ResultCells


@dataclass(frozen=True)
class CurvePicture:
    """A power curve: SVG, and what it shows in words."""

    title: str
    svg: str
    alt: str


@dataclass(frozen=True)
class CertificateText:
    """Everything that a certificate shows, in the order in which it shows it."""

    title: str
    number: str
    issued: str
    verdict: str
    verdict_found: str
    verdict_left: str
    simulated: str
    """Empty for a real unit."""
    facts: tuple[tuple[str, Details], ...]
    groups: tuple[StepGroup, ...]
    stages: tuple[str, ...]
    adjustments: tuple[AdjustmentRow, ...]
    adjusted_at: str
    """How all of them were adjusted."""
    reasons: tuple[str, ...]
    interruptions: tuple[str, ...]
    """Each part of a run that was interrupted; empty where none was."""
    remarks: tuple[str, ...]
    protections: tuple[str, ...]
    """What kept RF from staying on, and what the bench lacked."""
    pictures: tuple[CurvePicture, ...]
    rules: tuple[str, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    documents: tuple[tuple[str, str, str], ...]
    """Role, name and SHA-256 of each."""
    head: str

    def document(self) -> dict[str, Any]:
        """The sheet as plain data, fit for JSON."""
        return asdict(self)


def certificate_text(certificate: Certificate) -> CertificateText:
    """Word `certificate`. Draws its power curves."""
    adjusted_at = shared_conditions([_but_load(one.result) for one in certificate.adjustments])
    return CertificateText(
        title="Certificate of calibration",
        number=printable(certificate.run_id),
        issued=f"{certificate.ended_at.astimezone(UTC):%Y-%m-%d}",
        verdict=certificate.verdict,
        verdict_found=_verdict(certificate, "as_found"),
        verdict_left=_verdict(certificate, "as_left"),
        simulated=_simulated(certificate.seed),
        facts=tuple(detail_blocks(certificate)),
        groups=tuple(_groups(certificate)),
        stages=tuple(s for s in ("as_found", "as_left") if s in certificate.stages),
        adjustments=tuple(
            _moved(one, adjusted_at, certificate.marks) for one in certificate.adjustments
        ),
        adjusted_at=adjusted_at.words(),
        reasons=tuple(_reasons(certificate.results)),
        remarks=certificate.remarks,
        protections=tuple(protections(certificate.parts)),
        interruptions=tuple(interruptions(certificate.parts)),
        pictures=tuple(
            CurvePicture(printable(curve.title), curve_svg(curve), printable(curve.alt()))
            for curve in plotted_curves(certificate)
        ),
        rules=tuple(printable(rule) for rule in certificate.rules),
        cautions=CAUTIONS,
        notes=(*notes_of(certificate), *mark_notes(certificate)),
        documents=tuple(
            (one.role, printable(one.name), one.sha256) for one in certificate.documents
        ),
        head=certificate.head or "",
    )


def _verdict(certificate: Certificate, stage: Any) -> str:
    return certificate.verdict_of(stage) if stage in certificate.stages else ""


def _simulated(seed: int | None) -> str:
    if seed is None:
        return ""
    return f"Simulated unit and instruments, seed {seed}: no evidence about any real unit."


def _groups(certificate: Certificate) -> Iterable[StepGroup]:
    for step, grouped in groupby(certificate.lines, key=lambda line: line.step):
        within = tuple(grouped)
        shared = shared_conditions(
            [conditions_of_result(r) for line in within for r in line.results]
        )
        rows = tuple(_row(line, shared, certificate.marks) for line in within)
        yield StepGroup(printable(step), shared.words(), rows)


def _row(line: CertifiedPoint, shared: MeasuringConditions, marks: ValueMarks) -> PointRow:
    target = line.last.target
    one_sided = target is None or target.one_sided
    point = printable(line.point).replace(" ohm", " Ω")
    at = differing_conditions_text(
        (r.stage.replace("_", " "), conditions_of_result(r).without(shared)) for r in line.results
    )
    return PointRow(
        point=point,
        at="" if at == point else at,  # a level is named by its setting
        target="" if target is None or one_sided else four_digits(target.value, target),
        limits="" if target is None else limits_text(target),
        accepted=_accepted(line.last),
        unit=unit_symbol(target, line.last.measured),
        found=_outcome(line.found, marks),
        left=_outcome(line.left, marks),
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


def _outcome(result: Result | None, marks: ValueMarks) -> ResultCells:
    if result is None:
        return ResultCells()
    value, expanded = (
        ("", "") if result.measured is None else value_and_uncertainty(result.measured)
    )
    held = result.conformity
    return ResultCells(
        value=value,
        expanded=expanded,
        error=_error(result),
        probability="" if held is None else probability_text(held),
        ratio="" if held is None else uncertainty_ratio_text(held),
        verdict=result.verdict,
        mark=marks.of(result),
    )


def _error(result: Result) -> str:
    error, target = result.error, result.target
    if error is None or target is None or target.one_sided:
        return ""
    relative = 100 * error / target.value
    return ("+" if relative >= 0 else "") + fixed_decimals(relative, 1)


def _but_load(result: Result) -> MeasuringConditions:
    """How a point was adjusted; its load has a column of its own."""
    return conditions_of_result(result)._replace(load="")


def _moved(
    adjustment: AdjustedPoint, shared: MeasuringConditions, marks: ValueMarks
) -> AdjustmentRow:
    result = adjustment.result
    trims = (result.start_trim, result.final_trim)
    return AdjustmentRow(
        point=printable(result.point),
        at=_but_load(result).without(shared).words(),
        load="" if result.load_ohm is None else f"{result.load_ohm:g} Ω",
        limits="" if result.target is None else limits_text(result.target),
        unit=unit_symbol(result.target, result.measured),
        trim=" to ".join("?" if trim is None else fixed_decimals(trim, 0) for trim in trims),
        moves=str(adjustment.moves),
        left=_outcome(result, marks),
    )


def _reasons(results: Iterable[Result]) -> Iterable[str]:
    """Why each point that did not pass did not, and what is said of one that did."""
    for result in results:
        if result.verdict != "pass" or result.reason:
            where = f"{result.stage.replace('_', ' ')}, {result.step}, {result.point}"
            why = ", ".join(filter(None, (result.verdict, result.reason)))
            yield printable(f"{where}: {why}").replace(" ohm", " Ω")
