"""Curves as files: CSV for any program, Parquet with every budget, pictures."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from io import BytesIO, StringIO
from pathlib import Path
from typing import TYPE_CHECKING

from ohmwright.model.errors import SourceError, UsageError
from ohmwright.records.parquet import imported_pyarrow
from ohmwright.reports.csv_file import Cell, spreadsheet_safe

from .curve import Curve, CurveOrigin, CurvePoint
from .curve_rows import curve_of_rows, rows
from .output_file import PICTURES, is_parquet, write_whole
from .paths import given_path
from .picture_file import picture

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_ENDINGS = (".csv", ".parquet", *PICTURES)
_CURVE_KEY = b"ohmwright_curve"
"""Key of the Parquet file's metadata that holds the curve with its budgets, as JSON."""


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
    write_whole(path, _content(curve, form, figure))


def _content(curve: Curve, form: str, figure: Figure | None) -> bytes:
    """Return the whole file, made in memory: pyarrow, too, has its own words for a full disk."""
    if form == "csv":
        return _csv(curve).encode()
    if form == "parquet":
        return _parquet(curve)
    from .curve_plot import svg_text

    drawn = curve.plot() if figure is None else figure
    return svg_text(drawn).encode() if form == "svg" else picture(drawn, form)


def read(path: str | Path) -> Curve:
    """Return the curve of a CSV or Parquet file that a sweep wrote.

    From CSV each value has its uncertainty as a whole; from Parquet its budget as well, so that a
    comparison knows which errors two curves share. Raises SourceError for any other file.
    """
    path = given_path("ohmwright.read()", path)
    try:
        if is_parquet(path):
            curve = _read_parquet(path)
        else:
            # a spreadsheet that saves as UTF-8 puts a mark before the first name
            with path.open(encoding="utf-8-sig", newline="") as file:
                curve = curve_of_rows(list(csv.DictReader(file)))
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
    except (TypeError, ValueError, csv.Error) as problem:
        raise _no_curve(path, str(problem)) from None


def _no_curve(path: Path, why: str) -> SourceError:
    return SourceError(
        f"{path}: this is no curve as a sweep writes it: {why.rstrip('.')}.",
        do="Name a CSV or Parquet file that a sweep wrote.",
    )


def _csv(curve: Curve) -> str:
    text = StringIO(newline="")
    found = rows(curve)
    writer = csv.DictWriter(text, list(found[0]) if found else [])
    writer.writeheader()
    writer.writerows({name: _cell(value) for name, value in row.items()} for row in found)
    return text.getvalue()


def _cell(value: Cell) -> Cell:
    return spreadsheet_safe(value) if isinstance(value, str) else value


def _parquet(curve: Curve) -> bytes:
    pyarrow = imported_pyarrow()
    whole = {
        "origin": curve.origin.model_dump(mode="json"),
        "points": [point.model_dump(mode="json") for point in curve.points],
    }
    table, content = pyarrow.Table.from_pylist(rows(curve)), BytesIO()
    pyarrow.parquet.write_table(
        table.replace_schema_metadata({_CURVE_KEY: json.dumps(whole).encode()}), content
    )
    return content.getvalue()


def _read_parquet(path: Path) -> Curve:
    pyarrow = imported_pyarrow()
    try:
        with path.open("rb") as file:
            held = pyarrow.parquet.read_schema(file).metadata or {}
        whole = json.loads(held[_CURVE_KEY])
        points = tuple(CurvePoint.model_validate(point) for point in whole["points"])
        return Curve(points, CurveOrigin.model_validate(whole["origin"]))
    except pyarrow.ArrowInvalid as problem:
        raise ValueError(str(problem)) from None
    except (KeyError, TypeError, ValueError):  # their own words are of no use to a reader
        raise ValueError("it holds no whole curve") from None
