"""The tables of a certificate as text: measured points by step, and adjusted points."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby

from ohmwright.model.result import Result

from .certificate import AdjustedPoint, Certificate, CertifiedPoint
from .measurand_text import far_reading_text, read_until_text, rest_text
from .measuring_conditions import (
    TOLD_TRIM,
    MeasuringConditions,
    conditions_of_result,
    differing_conditions_text,
    shared_conditions,
)
from .text import (
    fixed_decimals,
    four_digits,
    limits_text,
    lower_figure,
    printable,
    probability_text,
    uncertainty_ratio_text,
    unit_symbol,
    upper_figure,
    value_and_uncertainty,
)
from .traceability_marks import ValueMarks
from .verdict_grounds import is_by_readings_alone, readings_mark

_NO_BREAK = "\u00a0"
"""A space at which a line does not break, as between a figure and its unit."""


@dataclass(frozen=True)
class ResultCells:
    """One result as text; each cell is empty where there is nothing to show."""

    value: str = ""
    expanded: str = ""
    read: str = ""
    """The last reading, where the value lies more than half its U from it."""
    error: str = ""
    probability: str = ""
    ratio: str = ""
    verdict: str = ""
    alone: str = ""
    """The mark behind a verdict by the readings alone."""
    mark: str = ""
    """Letter of its traceability and figure of its part, where values differ in them."""


@dataclass(frozen=True)
class PointRow:
    """One measured point, as found and as left."""

    point: str
    at: str
    """Conditions that the other points of the step do not share."""
    target: str
    limits: str
    accepted: str
    """The limits that the decision rule leaves, where it narrows them."""
    unit: str
    requirement: str
    """What was required where no limits say it, unless the whole step says it."""
    compared: str
    """What was held against that, at each stage."""
    found: ResultCells
    left: ResultCells


@dataclass(frozen=True)
class StepGroup:
    """The measured points of one step."""

    step: str
    at: str
    """Conditions that all points of the step share, and until when they were read."""
    requirement: str
    """What was required of all of them, where no limits say it."""
    note: str
    """What the procedure notes of the step, as whence its limits are; empty where it does not."""
    rows: tuple[PointRow, ...]


@dataclass(frozen=True)
class AdjustmentRow:
    """One adjusted point."""

    point: str
    at: str
    load: str
    target: str
    limits: str
    unit: str
    trim: str
    moves: str
    left: ResultCells


def step_groups(certificate: Certificate) -> Iterable[StepGroup]:
    """The measured points of a certificate, one group for each step."""
    for step, grouped in groupby(certificate.lines, key=lambda line: line.step):
        within = tuple(grouped)
        shared = shared_conditions(
            [conditions_of_result(r) for line in within for r in line.results]
        )
        required = {requirement_text(line.last) for line in within}
        common = required.pop() if len(required) == 1 else ""
        rows = tuple(_row(line, shared, certificate.marks, common) for line in within)
        results = [result for line in within for result in line.results]
        rested = rest_text(map(certificate.rest_before, results))
        said = "; ".join(filter(None, (shared.words(), rested, read_until_text(results))))
        yield StepGroup(printable(step), said, common, note_text(certificate, step), rows)


def requirement_text(result: Result) -> str:
    """What was required of a point, as printable text; empty where its limits say all."""
    return _ohms(f"Required: {result.requirement}") if result.requirement else ""


def note_text(certificate: Certificate, step: str) -> str:
    """What the procedure notes of a step, as printable text; empty where it notes nothing."""
    note = certificate.step_notes.get(step, "")
    return _ohms(f"Note: {note}") if note else ""


def _ohms(text: str) -> str:
    return printable(text).replace(" ohm", " Ω")


def _row(
    line: CertifiedPoint, shared: MeasuringConditions, marks: ValueMarks, required: str
) -> PointRow:
    """The row of one measured point; `shared` and `required` is what its step says of all."""
    target = line.last.target
    one_sided = target is None or target.one_sided or target.lower_only
    point = _ohms(line.point)
    requirement = requirement_text(line.last)
    at = differing_conditions_text(
        (r.stage.replace("_", " "), conditions_of_result(r).without(shared)) for r in line.results
    )
    return PointRow(
        point=point,
        at=_unsaid(at, point).replace(" W", f"{_NO_BREAK}W"),
        target="" if target is None or one_sided else four_digits(target.value, target),
        limits="" if target is None else limits_text(target),
        accepted=_accepted(line.last),
        unit=unit_symbol(target, line.last.measured),
        requirement="" if requirement == required else requirement,
        compared=_compared_text(line),
        found=_result_cells(line.found, marks),
        left=_result_cells(line.left, marks),
    )


def _unsaid(conditions: str, point: str) -> str:
    """Conditions without what the point's name says: its load resistance, or its setting."""
    before, into, load = conditions.rpartition("into ")
    left = before.rstrip() if into and point.endswith(load) else conditions
    return "" if left == point else left


def _compared_text(line: CertifiedPoint) -> str:
    """What was held against the requirement of a point; by stage where it has two results."""
    held = [(r.stage.replace("_", " "), r.held_against_it) for r in line.results]
    said = [(stage, _ohms(words)) for stage, words in held if words]
    if len(line.results) == 1:
        return said[0][1] if said else ""
    return "; ".join(f"{stage} {words}" for stage, words in said)


def _accepted(result: Result) -> str:
    """The limits that the decision rule leaves; empty where it does not narrow the tolerance."""
    held, target = result.conformity, result.target
    if held is None or target is None:
        return ""
    low = target.lower if held.accept_from is None else held.accept_from
    high = target.upper if held.accept_to is None else held.accept_to
    if low <= target.lower and high >= target.upper:
        return ""
    high_text = upper_figure(high, target)
    return f"≤ {high_text}" if target.one_sided else f"{lower_figure(low, target)} to {high_text}"


def _result_cells(result: Result | None, marks: ValueMarks) -> ResultCells:
    """The cells of a result; all empty where there is none."""
    if result is None:
        return ResultCells()
    value, expanded = (
        ("", "") if result.measured is None else value_and_uncertainty(result.measured)
    )
    held = None if is_by_readings_alone(result) else result.conformity
    return ResultCells(
        value=printable(result.shown) if result.shown else value,
        expanded=expanded,
        read=far_reading_text(result),
        error=error_text(result),
        probability="" if held is None else probability_text(held),
        ratio="" if held is None else uncertainty_ratio_text(held),
        verdict="" if result.asks_nothing else result.verdict,
        alone=readings_mark(result) if result.measured is not None else "",
        mark=marks.of(result),
    )


def error_text(result: Result) -> str:
    """Value less target in percent of the target; empty where there is no such error."""
    error, target = result.error, result.target
    if error is None or target is None or target.one_sided or result.said:
        return ""
    return f"{100 * error / target.value:+z.1f}".replace("-", "−")  # z: no minus before a zero


def adjustment_conditions(certificate: Certificate) -> MeasuringConditions:
    """The conditions, but the load, that all adjusted points share."""
    return shared_conditions([_but_load(one.result) for one in certificate.adjustments])


def adjustment_rows(certificate: Certificate) -> Iterable[AdjustmentRow]:
    """One row for each adjusted point."""
    shared = adjustment_conditions(certificate)
    for one in certificate.adjustments:
        note = note_text(certificate, one.result.step)
        rested = rest_text([certificate.rest_before(one.result)])
        yield _adjustment_row(one, shared, certificate.marks, (rested, note))


def _but_load(result: Result) -> MeasuringConditions:
    """The conditions of an adjustment without its load, which has a column of its own."""
    return conditions_of_result(result)._replace(load="")


def _adjustment_row(
    adjustment: AdjustedPoint,
    shared: MeasuringConditions,
    marks: ValueMarks,
    rest_and_note: tuple[str, str],
) -> AdjustmentRow:
    """The row of one adjusted point; `shared` is what is said of all."""
    result, target = adjustment.result, adjustment.result.target
    trims = (result.start_trim, result.final_trim)
    own = _but_load(result).without(shared).words()
    far, (rested, note) = far_reading_text(result), rest_and_note
    return AdjustmentRow(
        point=printable(result.point),
        at="; ".join(
            filter(
                None,
                (own, rested, read_until_text([result]), f"last reading {far}" * bool(far), note),
            )
        ),
        load="" if result.load_ohm is None else f"{result.load_ohm:g} Ω",
        target="" if target is None else four_digits(target.value, target),
        limits="" if target is None else limits_text(target),
        unit=unit_symbol(target, result.measured),
        trim=" to ".join("?" if trim is None else fixed_decimals(trim, 0) for trim in trims)
        + ("" if result.trim_told_by is None else TOLD_TRIM),
        moves=str(adjustment.moves),
        left=_result_cells(result, marks),
    )
