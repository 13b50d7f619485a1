"""The results of a certificate as CSV, safe to open in a spreadsheet.

Figures have a decimal point and at most twelve significant digits; text and empty cells stand in
quotes. Text that a spreadsheet might take for a formula, at its beginning or after a separator
within it, has an apostrophe put before the sign: `'=1+1`. Control characters show as codes.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from io import StringIO

from ohmwright.model.quantity import unit_of
from ohmwright.model.result import Result, TraceabilityBasis
from ohmwright.model.spreadsheet import without_formulas
from ohmwright.model.traceability import Traceability

from .certificate import Certificate
from .measurand_text import last_reading, read_until_s
from .run_parts import RunPart
from .text import NOT_RECORDED, printable
from .verdict_grounds import ground_of, is_by_readings_alone

_DIGITS = 12
"""Significant digits of a figure; what follows is the rounding of binary arithmetic."""
Cell = str | float | int | None


def certificate_csv(certificate: Certificate) -> bytes:
    """One row for each result, in UTF-8 with the byte order mark that spreadsheets look for."""
    return csv_of_rows([_row(certificate, certificate.part_of(r), r) for r in certificate.results])


def csv_of_rows(rows: Sequence[Mapping[str, Cell]]) -> bytes:
    """Rows with the same names as CSV, in UTF-8 with the byte order mark, safe in a spreadsheet."""
    names = list(rows[0]) if rows else []
    text = StringIO(newline="")
    writer = csv.writer(text, quoting=csv.QUOTE_NONNUMERIC)
    writer.writerow(names)
    writer.writerows([[_cell(row[name]) for name in names] for row in rows])
    return text.getvalue().encode("utf-8-sig")


def spreadsheet_safe(text: str) -> str:
    """`text` as printable text that no spreadsheet computes as a formula."""
    line = printable(text)  # which has `not recorded` for empty text: here a cell stays empty
    return "" if line == NOT_RECORDED != text else without_formulas(line)


def _cell(value: Cell) -> Cell:
    """The value as a cell, a figure without the noise of its last binary digits; empty for None."""
    if value is None:
        return ""
    if isinstance(value, float):
        return float(f"{value:.{_DIGITS}g}")
    return spreadsheet_safe(value) if isinstance(value, str) else value


def _or_not_recorded(said: str | None) -> str:
    """The text, or that it is not recorded."""
    return NOT_RECORDED if said is None else said


def _traceable_to(basis: TraceabilityBasis) -> str:
    """The certificate's number, with a note where it was past due; else the word on record."""
    if not isinstance(basis, Traceability):
        return _or_not_recorded(basis)
    return f"{basis.certificate} (past due)" if basis.expired else basis.certificate


def _run_cells(certificate: Certificate, part: RunPart) -> dict[str, Cell]:
    """The cells that say of which run and unit a result is, by the name of their column."""
    return {
        "run": certificate.run_id,
        "asset": certificate.asset.id,
        "model": certificate.asset.model,
        "serial": certificate.asset.serial,
        "simulated": "" if certificate.seed is None else "simulated",
        "certificate": certificate.number,
        "void": certificate.issue.void,
        "part": part.number,
        "operator": part.operator,
        "begun": _time_text(part.begun_at),
        "ended": _time_text(part.ended_at),
        "analyzer": certificate.analyzer,
    }


def _time_text(at: datetime) -> str:
    """A time to the second, as ISO 8601 writes it, in UTC."""
    return f"{at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"


def _row(certificate: Certificate, part: RunPart, result: Result) -> dict[str, Cell]:
    """The cells of one result, by the name of their column."""
    target, measured, held = result.target, result.measured, result.conformity
    alone = measured is not None and is_by_readings_alone(result)
    rest = certificate.rest_before(result)
    quantity = target.quantity if target is not None else measured and measured.quantity
    return _run_cells(certificate, part) | {
        "stage": result.stage,
        "step": result.step,
        "point": result.point,
        "kind": result.kind,
        "mode": _or_not_recorded(result.mode) if result.path is None else result.mode,
        "setting_w": result.setting_w,
        "setting_told_by": result.setting_told_by,
        "load_ohm": result.load_ohm,
        "path": None if result.path == "only" else _or_not_recorded(result.path),
        "path_told_by": result.path_told_by,
        "load_told_by": result.load_told_by,
        "readings_told_by": result.readings_told_by,
        "keyed_by": result.keyed_by,
        "unit": unit_of(quantity).symbol if quantity else "",
        "target": None if target is None else target.value,
        "lower": None if target is None or target.one_sided else target.lower,
        "upper": None if target is None or target.lower_only else target.upper,
        "accept_from": None if held is None else held.accept_from,
        "accept_to": None if held is None else held.accept_to,
        "value": None if measured is None else measured.value,
        "expanded_uncertainty": None if measured is None else measured.expanded,
        "meter_load_correlation": None if measured is None else measured.correlation,
        "coverage_factor": None if measured is None else measured.coverage_factor,
        "traceable_to": None if measured is None else _traceable_to(result.traceability),
        "age_s": None if measured is None else measured.age_s,
        "rested_s": None if rest is None else rest.off_s,
        "procedure_rest_s": None if rest is None else rest.asked_s,
        "read_until_s": read_until_s(result),
        "last_reading": last_reading(result),
        "uncertainty_ratio": None if held is None or alone else held.uncertainty_ratio,
        "probability": None if held is None or alone else held.probability,
        "rule": None if held is None else held.rule,
        "note": certificate.step_notes.get(result.step, ""),
        "requirement": result.requirement,
        "held_against_it": result.held_against_it,
        "said": result.said,
        "instrument": result.instrument,
        "verdict": result.verdict,
        "verdict_by": "" if measured is None else ground_of(result),
        "reason": result.reason,
        "trim_told_by": result.trim_told_by,
        "start_trim": result.start_trim,
        "final_trim": result.final_trim,
    }
