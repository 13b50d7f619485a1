"""The file that answers steps of a run, read as the answers of a person would be."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator, Sequence
from io import StringIO
from pathlib import Path
from typing import Any

from ohmwright.model.document import document
from ohmwright.model.errors import SourceError
from ohmwright.model.given_values import GivenValue, GivenValues
from ohmwright.model.source import read_text
from ohmwright.model.step import STAGES, Stage

_COLUMNS = ("step", "value", "stage")


def read_given_values(path: Path) -> GivenValues:
    """Return the answers in a CSV file (columns step, value, stage) or a JSON file.

    JSON: an object of steps and their values, or a list of objects with those columns as keys.
    Raises SourceError with the line of the CSV file, or the entry of the JSON file, that is wrong.
    """
    text = read_text(path)
    as_json = path.suffix.casefold() == ".json"
    rows = _json_rows(path, text) if as_json else _csv_rows(path, text)
    values: list[GivenValue] = []
    for place, row in rows:
        one = _given(path, place, row)
        if any((v.step, v.stage) == (one.step, one.stage) for v in values):
            raise SourceError(f"{place}: step '{one.step}' has a value already.")
        values.append(one)
    return GivenValues(tuple(values), document("given values", path, text))


def _csv_rows(path: Path, text: str) -> Iterator[tuple[str, dict[str, str]]]:
    names: Sequence[str] = ()
    for place, cells in _csv_lines(path, text):
        if not names:
            names = [cell.strip().casefold() for cell in cells]
            if not {"step", "value"} <= {*names} <= {*_COLUMNS} or len({*names}) < len(names):
                raise SourceError(
                    f"{place}: the columns must be step, value and, if any, stage, each once."
                )
        elif any(cell.strip() for cell in cells):
            if len(cells) > len(names):
                raise SourceError(f"{place}: {len(cells)} cells under {len(names)} names.")
            yield place, dict(zip(names, map(str.strip, cells), strict=False))


def _csv_lines(path: Path, text: str) -> Iterator[tuple[str, list[str]]]:
    separator = max(",;\t", key=text.partition("\n")[0].count)
    reader = csv.reader(StringIO(text, newline=""), delimiter=separator)
    try:
        for cells in reader:
            yield f"{path}:{reader.line_num}", cells
    except csv.Error as problem:
        raise SourceError(
            f"{path}:{reader.line_num}: this is no CSV: {problem}.",
            do="Where a quote was opened, see that it is closed.",
        ) from None


def _json_rows(path: Path, text: str) -> Iterator[tuple[str, dict[str, Any]]]:
    try:
        held = json.loads(text, parse_float=str, parse_int=str, object_pairs_hook=_each_once)
    except (ValueError, RecursionError) as problem:
        raise SourceError(f"{path}: this cannot be read as JSON: {problem}.") from None
    if isinstance(held, dict):
        held = [{"step": step, "value": value} for step, value in held.items()]
    if not isinstance(held, list):
        raise SourceError(f"{path}: neither an object nor a list.")
    for number, row in enumerate(held, 1):
        if not isinstance(row, dict) or not {*row} <= {*_COLUMNS}:
            raise SourceError(f"{path}: entry {number}: must be an object of step, value, stage.")
        yield f"{path}: entry {number}", row


def _each_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Return the object of `pairs`. Raises ValueError for a name twice: one value would be lost."""
    held = dict(pairs)
    if len(held) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise ValueError(f"'{twice}' stands twice in one object")
    return held


def _given(path: Path, place: str, row: dict[str, Any]) -> GivenValue:
    step, text, stage = (row.get(name, "") for name in _COLUMNS)
    if not (isinstance(step, str) and isinstance(text, str) and step and text):
        raise SourceError(f"{place}: a step and its value, as number or text, must be there.")
    return GivenValue(step, _stage(place, stage), text, place, path.name)


def _stage(place: str, said: object) -> Stage | None:
    if said in ("", None):
        return None
    for stage in STAGES:
        if said in (stage, stage.replace("_", " ")):
            return stage
    raise SourceError(f"{place}: there is no stage '{said}'.", do=f"Stages: {', '.join(STAGES)}.")
