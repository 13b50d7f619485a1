"""What importing a CSV file would do to the register, and what is wrong with its rows."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from ohmwright.model.complaint_words import words_of_error
from ohmwright.model.errors import SourceError
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.wire.clock import RealClock

from .asset_file import COLUMNS, AssetRow, AssetRows
from .asset_register import (
    AssetChange,
    AssetRevision,
    alike_words,
    in_use_by_identity,
    plate,
    units_alike,
)

_MAY_BE_EMPTY = ("site", "owner", "procedure", "last_passed")
"""Columns in which an empty cell says that there is nothing."""
_MOST_SHOWN = 40
"""Problems that a refusal names one by one."""


@dataclass(frozen=True)
class ImportPlan:
    """What an import would do, and what is wrong with it."""

    changes: tuple[AssetChange, ...]
    unchanged: int
    problems: tuple[str, ...]
    """`file:line:column: what` for each; nothing is imported where there are any."""
    warnings: tuple[str, ...] = ()
    """The same of what a person should look at."""

    def refuse_problems(self) -> None:
        """Raise SourceError with every problem."""
        if self.problems:
            gathered = _gathered(self.problems)
            shown = gathered[:_MOST_SHOWN]
            left = len(gathered) - len(shown)
            more = [f"… and {left} more"] if left else []
            raise SourceError(
                "\n".join([*shown, *more]),
                "Nothing was imported.",
                "Correct the file; try it with --dry-run.",
            )


def _gathered(problems: Iterable[str]) -> list[str]:
    """Return each problem once, with the further lines that have it; in the order of the file."""
    places: dict[str, list[str]] = {}
    for problem in problems:
        place, _, what = problem.partition(": ")
        places.setdefault(what, []).append(place)
    return [f"{first}: {what}{_also(more)}" for what, (first, *more) in places.items()]


def _also(places: Sequence[str]) -> str:
    """Return in which other lines it is so; empty for none."""
    lines = [place.rsplit(":", 2)[1] for place in places]
    return f" (also in line{'s' if len(lines) > 1 else ''} {', '.join(lines)})" if lines else ""


def import_plan(path: Path, file: AssetRows, known: Mapping[str, AssetRevision]) -> ImportPlan:
    """What importing `file` would do to the units `known`, by tag.

    A column that is missing, or an empty cell where there must be something, leaves that of a known
    unit unchanged.
    """
    changes: list[AssetChange] = []
    problems = list(file.problems)
    tags = {tag.casefold(): (tag, 0) for tag in known}
    line_of: dict[str, AssetRow] = {}
    after = {tag: one.asset for tag, one in known.items()}
    unchanged = 0
    for row in file.rows:
        tag = row.said.get("tag", "")
        before = known.get(tag)
        found = [*_wrong(path, row, before), *_taken(path, row, tags)]
        tags[tag.casefold()] = tag, row.line
        if found:
            problems += found
            continue
        asset = RegisteredAsset.model_validate(_whole(row, before))
        after[tag] = asset
        if before is None or before.asset.identity != asset.identity:
            line_of[tag] = row
        if before is None:
            changes.append(AssetChange("imported", asset, 1))
        elif asset != before.asset:
            changes.append(AssetChange("imported", asset, before.revision + 1))
        else:
            unchanged += 1
    problems += _twins(path, line_of, after)
    warnings = tuple(_alike(path, line_of, after))
    return ImportPlan(tuple(changes), unchanged, tuple(problems), warnings)


def _alike(
    path: Path, rows: Mapping[str, AssetRow], after: Mapping[str, RegisteredAsset]
) -> Iterator[str]:
    """Yield for each new serial number the other units that may be the same.

    `after`: all units by tag, as imported; `rows`: by tag, those that change a serial number.
    """
    of_plate = units_alike(after.values())
    for tag, row in rows.items():
        for other in of_plate[plate(after[tag])]:
            if other.tag != tag:
                yield f"{_at(path, row, 'serial')}: {alike_words(after[tag], other)}"


def _twins(
    path: Path, rows: Mapping[str, AssetRow], after: Mapping[str, RegisteredAsset]
) -> Iterator[str]:
    """Yield a complaint for each serial number that two units in use would have after the import.

    `after`: all units by tag, as imported; `rows`: by tag, those that change a serial number.
    """
    in_use = in_use_by_identity(after.values())
    for tag, row in rows.items():
        alike = in_use.get(after[tag].identity, ())
        others = [other.tag for other in alike if other.tag != tag]
        if others and after[tag].in_use:
            at, serial = _at(path, row, "serial"), after[tag].serial
            yield f"{at}: serial: '{serial}' is also that of {others[0]}, of the same model"


def _taken(path: Path, row: AssetRow, tags: Mapping[str, tuple[str, int]]) -> Iterator[str]:
    """Yield a complaint where a row above has the tag, or the register has it in other capitals.

    `tags`: by the tag in lower case, the tag as written, and its line; 0 for one of the register.
    """
    tag = row.said.get("tag", "")
    other, line = tags.get(tag.casefold(), ("", 0))
    if not tag or (other in ("", tag) and line == 0):
        return
    where = f"in line {line} already" if line else "in the register"
    alike = f"as '{other}', which differs in capitals alone" if other != tag else ""
    yield f"{_at(path, row, 'tag')}: '{tag}' is {' '.join(filter(None, (where, alike)))}"


def _whole(row: AssetRow, before: AssetRevision | None) -> dict[str, object]:
    """The fields of a unit: those of its row, and of `before` where the row has none."""
    said = {name: cell for name, cell in row.said.items() if name in COLUMNS}
    given = {name: cell for name, cell in said.items() if cell or name in _MAY_BE_EMPTY}
    return ({} if before is None else before.asset.model_dump()) | given


def _wrong(path: Path, row: AssetRow, before: AssetRevision | None) -> Iterator[str]:
    """Yield a complaint for each cell that its column may not have, or that there are too many."""
    names = len(row.columns)
    if row.cells != names:  # which cell belongs to which column is not known
        at = f"{path}:{row.line}:{min(row.cells, names) + 1}"
        yield f"{at}: {row.cells} cells under {names} names; a separator in a cell needs quotes"
        return
    try:
        asset = RegisteredAsset.model_validate(_whole(row, before))
    except ValidationError as problem:
        for detail in problem.errors():
            name = str(detail["loc"][0])
            said = row.said.get(name, "")
            words = words_of_error(detail)
            if detail["type"].startswith("int_"):  # a spreadsheet writes 12,0 or 12.5 for it
                words = f"{words}, as 12"
            what = f"'{said}' {words}" if said else "it must not be empty"
            if name not in row.columns:
                what = f"the file has no column for it, and the unit is new: {name}"
            yield f"{_at(path, row, name)}: {name}: {what}"
        return
    try:
        asset.refuse_future(RealClock().wall().date())
    except ValueError as problem:
        yield f"{_at(path, row, 'last_passed')}: last_passed: '{asset.last_passed}': {problem}"


def _at(path: Path, row: AssetRow, name: str) -> str:
    """Return the place of a row's cell in the column `name`, as file:line:column."""
    return f"{path}:{row.line}:{row.columns.get(name, 1)}"
