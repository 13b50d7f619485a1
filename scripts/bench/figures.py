"""The figures in a bench's JSON line, by name, whatever the shape of the line."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from statistics import median

Json = object
_ROW_COUNT = re.compile(r" \(\d+ rows\)")


def figures_in(output: str) -> dict[str, float]:
    """The figures of the last JSON line of `output`. Raises ValueError where it has none."""
    for line in reversed(output.splitlines()):
        if line.startswith(("{", "[")):
            return figures_of(json.loads(line))
    raise ValueError("it printed no JSON line")


def figures_of(said: Json) -> dict[str, float]:
    """Every number by name; what is nested has its key in front, a list is named by its rows."""
    if isinstance(said, Sequence) and not isinstance(said, str):
        return _listed([row for row in said if isinstance(row, Mapping)])
    found: dict[str, float] = {}
    if isinstance(said, Mapping):
        for key, value in said.items():
            name = _ROW_COUNT.sub("", str(key))
            if isinstance(value, Mapping):
                found |= {f"{name}: {k}": v for k, v in figures_of(value).items()}
            elif isinstance(value, list):
                found |= figures_of(value)
            elif isinstance(value, int | float):
                found[name] = float(value)
    return found


def _listed(rows: Sequence[Mapping[str, object]]) -> dict[str, float]:
    found: dict[str, float] = {}
    for row in rows:
        if "figure" in row:
            found |= _number(f"{row['situation']}: {row['figure']}", row.get("value"))
        elif "paper" in row:
            found |= _number(f"{row['paper']}, {row['points']} points", row.get("seconds"))
    return found or _columns(rows)


def _columns(rows: Sequence[Mapping[str, object]]) -> dict[str, float]:
    """Of rows without a name, such as one a seed: median and largest of each column."""
    found: dict[str, float] = {}
    for key in rows[0] if rows else ():
        column = [float(v) for row in rows if isinstance(v := row.get(key), int | float)]
        if len(column) == len(rows):
            found[f"{key}, median"], found[f"{key}, worst"] = median(column), max(column)
    return found


def _number(name: str, value: object) -> dict[str, float]:
    return {name: float(value)} if isinstance(value, int | float) else {}
