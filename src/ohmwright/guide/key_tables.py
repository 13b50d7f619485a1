"""The tables of the guide that say what each key of a file is, as data."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from typing import NamedTuple

from . import TOPICS, page

_CELL = re.compile(r"(?<!\\)\|")


class KeyTable(NamedTuple):
    """One table of a page: its heading cell, and of each key what the last cell says."""

    heading: str
    says: dict[str, str]


@cache  # a schema asks for them once for each of its keys
def key_tables() -> tuple[KeyTable, ...]:
    """Return every table of every page, in their order; a row of several keys counts for each."""
    return tuple(table for topic in TOPICS for table in _tables(page(topic)))


def _tables(text: str) -> Iterator[KeyTable]:
    lines = text.splitlines()
    for at, line in enumerate(lines):
        if re.fullmatch(r"\|(-+\|)+", line.replace(" ", "")) and at > 0:
            yield KeyTable(_cells(lines[at - 1])[0], dict(_rows(lines[at + 1 :])))


def _rows(lines: list[str]) -> Iterator[tuple[str, str]]:
    for line in lines:
        if not line.startswith("|"):
            return
        first, *others = _cells(line)
        for key in first.split(", "):
            yield key.strip("`"), others[-1] if others else ""


def _cells(line: str) -> list[str]:
    return [cell.strip() for cell in _CELL.split(line.strip().strip("|"))]
