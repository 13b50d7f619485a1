"""The register as a CSV file for spreadsheets: written, and read row by row."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from io import StringIO
from pathlib import Path

from ohmwright.model.errors import SourceError
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.model.spreadsheet import as_it_was, without_formulas

COLUMNS = tuple(RegisteredAsset.model_fields)
_DOTTED_DAY = re.compile(r"([0-9]{1,2})\.([0-9]{1,2})\.([0-9]{4})")
_LARGEST_BYTES = 50_000_000
"""Of a file that is read: a longer one, a hundred thousand units and more, is no register."""


@dataclass(frozen=True)
class AssetRow:
    """One row of the file."""

    line: int
    said: Mapping[str, str]
    """Its cells by the name of their column, of those columns that the file has."""
    columns: Mapping[str, int]
    """Place of each column in the file, from 1, by its name."""
    cells: int
    """Number of cells; that of the columns, unless the row is wrong."""


def assets_csv(assets: Iterable[RegisteredAsset]) -> str:
    """The units as CSV, one a row, with a heading.

    A cell that a spreadsheet would compute is written with an apostrophe, which
    `read_asset_rows` takes off again.
    """
    text = StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(COLUMNS)
    for asset in assets:
        writer.writerow([without_formulas(str(getattr(asset, name))) for name in COLUMNS])
    return text.getvalue()


@dataclass(frozen=True)
class AssetRows:
    """The rows of a file, and what is wrong with its heading."""

    rows: Sequence[AssetRow]
    problems: Sequence[str]


def read_asset_rows(path: Path) -> AssetRows:
    """Every row of a CSV file with a heading; commas, semicolons or tabs between the cells.

    Raises SourceError where it cannot be read, or its heading has no column `tag` or one twice.
    """
    text = _text(path)
    first = text.partition("\n")[0]
    separator = max(",;\t", key=first.count)
    reader = csv.reader(StringIO(text, newline=""), delimiter=separator, strict=True)
    rows: list[AssetRow] = []
    columns: dict[str, int] = {}
    begins = 1
    try:
        for cells in reader:
            if not columns:
                columns = _heading(path, cells)
            elif any(cell.strip() for cell in cells):
                rows.append(_row(begins, cells, columns))
            begins = reader.line_num + 1
    except csv.Error as problem:
        raise SourceError(f"{path}:{begins}: no row of a CSV file: {problem}.") from None
    if not columns:
        raise SourceError(f"{path}: it is empty.", do=f"Its first line names: {', '.join(COLUMNS)}")
    return AssetRows(rows, _unknown_columns(path, columns))


def _unknown_columns(path: Path, columns: Mapping[str, int]) -> list[str]:
    """A complaint for each column that no register has; its cells are passed over."""
    known = ", ".join(COLUMNS)
    return [
        f"{path}:1:{place}: there is no column '{name}' (columns are: {known})"
        for name, place in columns.items()
        if name not in COLUMNS
    ]


def _text(path: Path) -> str:
    try:
        with path.open("rb") as file:
            held = file.read(_LARGEST_BYTES + 1)
    except OSError as problem:
        raise SourceError(f"{path}: cannot be read: {problem.strerror}.") from None
    if len(held) > _LARGEST_BYTES:
        raise SourceError(f"{path}: more than {_LARGEST_BYTES:,} bytes, which no register has.")
    try:
        return held.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = held.count(b"\n", 0, problem.start) + 1
        raise SourceError(
            f"{path}:{line}: it is not UTF-8.",
            "Names with accents would be read wrongly.",
            "Save it from the spreadsheet as 'CSV UTF-8'.",
        ) from None


def _heading(path: Path, cells: Sequence[str]) -> dict[str, int]:
    names = [cell.strip().casefold().replace(" ", "_") for cell in cells]
    twice = {name for name in names if names.count(name) > 1}
    problems = [f"{path}:1: the column '{name}' is there twice" for name in sorted(twice)]
    if "tag" not in names:
        problems.append(f"{path}:1: the column 'tag' is missing")
    if problems:
        raise SourceError(
            "\n".join(problems), "Nothing was imported.", f"Columns are: {', '.join(COLUMNS)}."
        )
    return {name: place for place, name in enumerate(names, 1)}


def _row(line: int, cells: Sequence[str], columns: Mapping[str, int]) -> AssetRow:
    plain = zip(columns, (as_it_was(cell.strip()) for cell in cells), strict=False)
    said = {name: _as_the_register_has_it(name, cell) for name, cell in plain}
    return AssetRow(line, said, columns, len(cells))


def _as_the_register_has_it(column: str, cell: str) -> str:
    """Undo what a spreadsheet makes of a state's capitals, and of a date where dots are usual.

    With dots the day comes first; of 3/4/2026 nobody knows which is the month, and it is refused.
    """
    if column == "state":
        return cell.casefold()
    if column == "last_passed" and (dotted := _DOTTED_DAY.fullmatch(cell)):
        day, month, year = map(int, dotted.groups())
        with suppress(ValueError):  # no such day: refused as it was written
            return date(year, month, day).isoformat()
    return cell
