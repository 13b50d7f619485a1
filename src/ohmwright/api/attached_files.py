"""Files that a person adds to a run, and the file that answers its steps."""

from __future__ import annotations

import csv
import json
import mimetypes
from collections.abc import Iterable, Iterator, Sequence
from io import StringIO
from pathlib import Path
from typing import Any

from ohmwright.model.attachment import (
    LARGEST_ATTACHMENT_BYTES,
    LARGEST_ATTACHMENTS_BYTES,
    Attachment,
    attachment,
)
from ohmwright.model.document import document
from ohmwright.model.errors import SourceError
from ohmwright.model.given_values import GivenValue, GivenValues
from ohmwright.model.source import read_text
from ohmwright.model.step import STAGES, Stage

_COLUMNS = ("step", "value", "stage")


def read_attachments(paths: Iterable[Path]) -> tuple[Attachment, ...]:
    """Return the files. Raises SourceError where one cannot be read or is too large."""
    read = tuple(map(_read_attachment, paths))
    total = sum(len(one.content) for one in read)
    if total > LARGEST_ATTACHMENTS_BYTES:
        raise SourceError(
            f"--attach: {total:,} bytes in all are more than {LARGEST_ATTACHMENTS_BYTES:,}.",
            "A record with them could hardly be handed on. Nothing was switched on.",
            "Attach fewer or smaller files.",
        )
    return read


def _read_attachment(path: Path) -> Attachment:
    try:
        with path.open("rb") as file:
            content = file.read(LARGEST_ATTACHMENT_BYTES + 1)
    except OSError as problem:
        raise SourceError(f"--attach {path}: cannot be read: {problem.strerror}.") from None
    if len(content) > LARGEST_ATTACHMENT_BYTES:
        raise SourceError(
            f"--attach {path}: more than {LARGEST_ATTACHMENT_BYTES:,} bytes.",
            "Nothing was switched on.",
            "Attach a smaller one, such as the photo at a lower resolution.",
        )
    media_type, _ = mimetypes.guess_type(path.name)
    return attachment(path.name, media_type or "application/octet-stream", content)


def read_given_values(path: Path) -> GivenValues:
    """Return the answers in a CSV file (columns step, value, stage) or a JSON file.

    JSON: an object of steps and their values, or a list of objects with those columns as keys.
    Raises SourceError with the line of what is wrong.
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
    separator = max(",;\t", key=text.partition("\n")[0].count)
    reader = csv.reader(StringIO(text.removeprefix("\ufeff"), newline=""), delimiter=separator)
    names: Sequence[str] = ()
    for cells in reader:
        place = f"{path}:{reader.line_num}"
        if not names:
            names = [cell.strip().casefold() for cell in cells]
            if not {"step", "value"} <= {*names} <= {*_COLUMNS}:
                raise SourceError(f"{place}: the columns must be step, value and, if any, stage.")
        elif any(cell.strip() for cell in cells):
            if len(cells) > len(names):
                raise SourceError(f"{place}: {len(cells)} cells under {len(names)} names.")
            yield place, dict(zip(names, map(str.strip, cells), strict=False))


def _json_rows(path: Path, text: str) -> Iterator[tuple[str, dict[str, Any]]]:
    try:
        held = json.loads(text, parse_float=str, parse_int=str)
    except (ValueError, RecursionError) as problem:
        raise SourceError(f"{path}: this is no JSON: {problem}.") from None
    if isinstance(held, dict):
        held = [{"step": step, "value": value} for step, value in held.items()]
    if not isinstance(held, list):
        raise SourceError(f"{path}: neither an object nor a list.")
    for number, row in enumerate(held, 1):
        if not isinstance(row, dict) or not {*row} <= {*_COLUMNS}:
            raise SourceError(f"{path}: entry {number}: must be an object of step, value, stage.")
        yield f"{path}: entry {number}", row


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
