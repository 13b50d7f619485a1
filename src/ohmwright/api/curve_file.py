"""Curves as files: CSV for any program, Parquet with every budget, pictures."""

from __future__ import annotations

import csv
import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from errno import EDQUOT, EFBIG, ENOSPC
from io import StringIO
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ohmwright.model.bench_file import Asset
from ohmwright.model.errors import SourceError, UsageError
from ohmwright.model.result import AMPLE_DOF, BudgetEntry, Measured
from ohmwright.records.parquet import imported_pyarrow
from ohmwright.reports.csv_file import Cell, spreadsheet_safe

from .curve import Curve, CurveOrigin, CurvePoint
from .output_file import PICTURES, is_parquet

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_ENDINGS = (".csv", ".parquet", *PICTURES)
_WHOLE = b"ohmwright_curve"
"""Key of the Parquet file's metadata that holds the curve with its budgets, as JSON."""
_WRITTEN_IN_PART = (ENOSPC, EDQUOT, EFBIG)
"""Errors of a disk that has no room for the whole of a file."""
_VALUES = {"current": "ma", "power": "w"}
"""The measured values of a point, with the unit of each."""


def refuse_unknown_ending(path: Path) -> None:
    """Raise UsageError unless a curve can be written as what the ending of `path` says."""
    if path.suffix.lower() not in _ENDINGS:
        raise UsageError(
            f"{path}: a curve cannot be written with this ending.",
            "Nothing was written.",
            f"Give a name that ends in {', '.join(_ENDINGS[:-1])} or {_ENDINGS[-1]}.",
        )
    if path.suffix.lower() == ".parquet":
        imported_pyarrow()


def write_curve(curve: Curve, path: Path, form: str = "", *, figure: Figure | None = None) -> None:
    """Write `curve` as csv, parquet, svg, png or pdf: `form`, else by the ending of `path`.

    `figure`: the picture, where it is not the curve's plain one. Raises UsageError where the file
    cannot be written.
    """
    if not form:
        refuse_unknown_ending(path)
    form = form or path.suffix.lower().removeprefix(".")
    try:
        if form == "csv":
            with path.open("w", encoding="utf-8", newline="") as file:
                file.write(_csv(curve))
        elif form == "parquet":
            _write_parquet(curve, path)
        else:
            from .curve_plot import write_picture

            write_picture(curve.plot() if figure is None else figure, path)
    except OSError as problem:
        if problem.errno in _WRITTEN_IN_PART and path.is_file():
            path.unlink()  # a part would look whole
        raise UsageError(f"{path}: cannot be written: {problem.strerror}.") from None


def read(path: str | Path) -> Curve:
    """Return the curve of a CSV or Parquet file that a sweep wrote.

    From CSV each value has its uncertainty as a whole; from Parquet its budget as well, so that a
    comparison knows which errors two curves share. Raises SourceError for any other file.
    """
    path = Path(path)
    try:
        if is_parquet(path):
            curve = _read_parquet(path)
        else:
            # a spreadsheet that saves as UTF-8 puts a mark before the first name
            with path.open(encoding="utf-8-sig", newline="") as file:
                curve = _curve_of_rows(list(csv.DictReader(file)))
        return replace(curve, file=str(path))
    except OSError as problem:
        raise SourceError(
            f"{path}: cannot be read: {problem.strerror}.",
            do="Check the name and folder, and that you may read it.",
        ) from None
    except UnicodeDecodeError:
        raise _no_curve(path, "it is no text") from None
    except KeyError as missing:
        raise _no_curve(path, f"it has no column {missing}") from None
    except (TypeError, ValueError) as problem:
        raise _no_curve(path, str(problem)) from None


def _no_curve(path: Path, why: str) -> SourceError:
    return SourceError(
        f"{path}: this is no curve as a sweep writes it: {why.rstrip('.')}.",
        do="Name a CSV or Parquet file that a sweep wrote.",
    )


def rows(curve: Curve) -> list[dict[str, Any]]:
    """Return one row a point: what was set, values, and where they come from."""
    return [_row(curve.origin, point) for point in curve.points]


def _row(origin: CurveOrigin, point: CurvePoint) -> dict[str, Any]:
    return {
        "mode": point.mode,
        "setting_w": point.setting_w,
        "load_ohm": point.load_ohm,
        "repeat": point.repeat,
        **_figures(point.current, "current"),
        **_figures(point.power, "power"),
        "voltage_v": _rounded(point.voltage_v),
        "settled": point.settled,
        "reason": point.reason,
        "certified": point.certified,
        "on_s": _rounded(point.on_s),
        "at": point.at.isoformat(timespec="milliseconds"),
        "simulated_seed": origin.seed,
        "analyzer": origin.analyzer,
        "certificate": origin.certificate,
        "unit": origin.asset.id,
        "unit_maker": origin.asset.maker,
        "unit_model": origin.asset.model,
        "unit_serial": origin.asset.serial,
        "date": f"{origin.begun_at:%Y-%m-%d}",
        "begun_at": origin.begun_at.isoformat(timespec="milliseconds"),
        "age_s": origin.age_s,
        "software": origin.software,
        "run": origin.run,
        "planned_points": origin.planned,
    }


def _figures(measured: Measured | None, quantity: str) -> dict[str, float | None]:
    """Return the columns of one value: itself, U, k, standard uncertainty and its dof."""
    unit = _VALUES[quantity]
    names = (quantity, f"{quantity}_expanded", f"{quantity}_k", f"{quantity}_uncertainty")
    columns = [name if name.endswith("_k") else f"{name}_{unit}" for name in names]
    if measured is None:
        return dict.fromkeys((*columns, f"{quantity}_dof"))
    found = (measured.value, measured.expanded, measured.coverage_factor, measured.uncertainty)
    figures = [None if one is None else _rounded(one) for one in found]
    dof = _rounded(measured.dof) if measured.dof < AMPLE_DOF else None
    return dict(zip(columns, figures, strict=True)) | {f"{quantity}_dof": dof}


def _rounded(value: float) -> float | None:
    return round(value, 4) if isfinite(value) else None


def _csv(curve: Curve) -> str:
    text = StringIO(newline="")
    found = rows(curve)
    writer = csv.DictWriter(text, list(found[0]) if found else [])
    writer.writeheader()
    writer.writerows({name: _cell(value) for name, value in row.items()} for row in found)
    return text.getvalue()


def _cell(value: Cell) -> Cell:
    return spreadsheet_safe(value) if isinstance(value, str) else value


def _curve_of_rows(found: list[dict[str, str]]) -> Curve:
    """Return the curve of the rows of a CSV file. Raises KeyError, TypeError, ValueError."""
    if not found:
        raise ValueError("it has no row")
    points = tuple(_numbered_point(row, number) for number, row in enumerate(found, start=2))
    first = found[0]
    origin = CurveOrigin(
        run=first["run"],
        asset=Asset(
            id=first["unit"],
            maker=first["unit_maker"],
            model=first["unit_model"],
            serial=first["unit_serial"],
        ),
        analyzer=first["analyzer"],
        certificate=first["certificate"],
        software=first["software"],
        begun_at=datetime.fromisoformat(first["begun_at"]),
        age_s=float(first["age_s"]) if first["age_s"] else None,
        seed=int(first["simulated_seed"]) if first["simulated_seed"] else None,
        planned=int(first["planned_points"]) if first.get("planned_points") else None,
    )
    return Curve(points, origin)


def _numbered_point(row: Mapping[str, str | None], number: int) -> CurvePoint:
    """Return the point of a row; ValueError names the row, counted with the head as row 1."""
    whole = {name: cell for name, cell in row.items() if cell is not None}
    if len(whole) < len(row):
        raise ValueError(f"row {number} is cut short")
    try:
        return _point_of_row(whole)
    except ValueError as problem:
        raise ValueError(f"row {number}: {problem}") from None


def _point_of_row(row: Mapping[str, str]) -> CurvePoint:
    values = {quantity: _measured(row, quantity, unit) for quantity, unit in _VALUES.items()}
    return CurvePoint(
        mode=row["mode"],
        setting_w=float(row["setting_w"]),
        load_ohm=float(row["load_ohm"]),
        repeat=int(row["repeat"]),
        power=values["power"],
        current=values["current"],
        settled=row["settled"] == "True",
        reason=row["reason"],
        certified=row["certified"] == "True",
        on_s=float(row["on_s"]),
        at=datetime.fromisoformat(row["at"]),
    )


def _measured(row: Mapping[str, str], quantity: str, unit: str) -> Measured | None:
    """Return a value with its uncertainty in one line; None for an empty cell."""
    if not row[f"{quantity}_{unit}"]:
        return None
    u = float(row[f"{quantity}_uncertainty_{unit}"])
    dof = float(row[f"{quantity}_dof"]) if row[f"{quantity}_dof"] else None
    whole = BudgetEntry(source="combined", evaluation="B", standard_uncertainty=u, dof=dof)
    return Measured(
        quantity=f"{quantity}_{unit}",
        value=float(row[f"{quantity}_{unit}"]),
        uncertainty=u,
        dof=AMPLE_DOF if dof is None else dof,
        age_s=float(row["age_s"]),
        expanded=float(row[f"{quantity}_expanded_{unit}"]),
        coverage_factor=float(row[f"{quantity}_k"]),
        budget=(whole,),
    )


def _write_parquet(curve: Curve, path: Path) -> None:
    pyarrow = imported_pyarrow()
    whole = {
        "origin": curve.origin.model_dump(mode="json"),
        "points": [point.model_dump(mode="json") for point in curve.points],
    }
    table = pyarrow.Table.from_pylist(rows(curve))
    pyarrow.parquet.write_table(
        table.replace_schema_metadata({_WHOLE: json.dumps(whole).encode()}), path
    )


def _read_parquet(path: Path) -> Curve:
    pyarrow = imported_pyarrow()
    try:
        whole = json.loads(pyarrow.parquet.read_schema(path).metadata[_WHOLE])
    except (pyarrow.ArrowInvalid, TypeError) as problem:
        raise ValueError(str(problem)) from None
    points = tuple(CurvePoint.model_validate(point) for point in whole["points"])
    return Curve(points, CurveOrigin.model_validate(whole["origin"]))
