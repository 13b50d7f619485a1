"""Runs as lines of JSON: the file that `record export` writes and `record import` reads.

A run is an opening line, one line for each event, and a closing line with its seal, or with its
length and last hash while it is not finished; then a line for each addendum. Event lines hold the
very bytes that were hashed.
A file holds one run after another; behind them may stand the register (`register_lines`).
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

from pydantic import ValidationError

from ohmwright.model.errors import RecordError
from ohmwright.model.event import Event

from .addendum import Addendum
from .canonical_json import canonical_json
from .chain import BrokenRunError, StoredEvent, StoredRun, verified_events
from .seal import Seal

_FORMAT = "ohmwright record 1"
REGISTER_HEADING = canonical_json({"format": "ohmwright register 1"})
"""The line behind the runs where the register of assets and the campaigns begin."""
_ADDENDUM = b'{"addendum":'
_EVENT = re.compile(rb'\{"number":(\d+),"hash":"([0-9a-f]{64})","event":(\{.*\})\}', re.DOTALL)


class DamagedFileError(RecordError):
    """A line of a file of records is wrong; names the file and the line."""

    def __init__(self, name: str, line: int, what: str) -> None:
        super().__init__(
            f"{name}:{line}: {what}.",
            "The file is not as 'record export' writes one; nothing at all was imported.",
            "Name an export; where this is one, export it again from the store that it came from.",
        )


def run_lines(run: StoredRun) -> Iterator[bytes]:
    """The lines of a run, without line ends. Raises BrokenRunError for a run that is not whole."""
    verified_events(run)
    yield canonical_json({"format": _FORMAT, "opening": run.opening.decode(), "run": run.run_id})
    for one in run.events:
        yield b'{"number":%d,"hash":"%s","event":%s}' % (
            one.number,
            one.hash.hex().encode(),
            one.body,
        )
    if run.seal is not None:
        yield canonical_json({"seal": run.seal.model_dump(mode="json")})
    else:
        yield canonical_json({"open": {"events": len(run.events), "head": run.head.hex()}})
    for addendum in run.addenda:
        yield canonical_json({"addendum": addendum.document()})


def read_runs(lines: Iterable[bytes], name: str) -> Iterator[tuple[StoredRun, tuple[Event, ...]]]:
    """Yield each run of a file with its events, every link and seal checked.

    `name` is the file's name in messages. Raises DamagedFileError at the first wrong line.
    """
    numbered = enumerate(lines, start=1)
    run, opened, end = None, 0, 0
    for at, line in numbered:
        if run is not None and line.startswith(_ADDENDUM):
            run, end = replace(run, addenda=(*run.addenda, _addendum(line, name, at))), at
            continue
        if run is not None:
            yield run, _checked(run, name, opened, end)
        if line.rstrip(b"\n") == REGISTER_HEADING:
            return
        opened = at
        opening, run_id = _opening(line, name, at)
        kept: list[StoredEvent] = []
        end = at
        for number, text in numbered:
            end, match = number, _EVENT.fullmatch(text.rstrip(b"\n"))
            if match is None:
                break
            kept.append(StoredEvent(int(match[1]), match[3], bytes.fromhex(match[2].decode())))
        else:
            raise DamagedFileError(name, end + 1, "the end of the run is missing")
        run = StoredRun(run_id, opening, tuple(kept), _ending(text, kept, name, end))
    if run is None:
        raise DamagedFileError(name, 1, "this is no file of records")
    yield run, _checked(run, name, opened, end)


def _opening(line: bytes, name: str, at: int) -> tuple[bytes, str]:
    """The opening document and the name of the run in an opening line. Raises DamagedFileError."""
    document = _exactly(line, name, at)
    if document.get("format") != _FORMAT:
        raise DamagedFileError(name, at, f"a run begins here, and this is no '{_FORMAT}'")
    opening, run_id = document.get("opening"), document.get("run")
    if not isinstance(opening, str) or not isinstance(run_id, str):
        raise DamagedFileError(name, at, "the opening is damaged")
    return opening.encode(), run_id


def _ending(line: bytes, kept: list[StoredEvent], name: str, at: int) -> Seal | None:
    """The seal in a closing line; None for a run that is not finished. Raises DamagedFileError."""
    document = _exactly(line, name, at)
    expected = {"events": len(kept), "head": kept[-1].hash.hex()} if kept else None
    if document == {"open": expected} and kept:
        return None
    try:
        return Seal.model_validate(document["seal"])
    except (KeyError, ValidationError):
        raise DamagedFileError(name, at, "this is neither an event nor the end of a run") from None


def _checked(run: StoredRun, name: str, first: int, last: int) -> tuple[Event, ...]:
    """The verified events of a run in the lines `first` to `last`. Raises DamagedFileError."""
    try:
        return verified_events(run)
    except BrokenRunError as broken:
        line = last if broken.event is None else min(first + broken.event, last)
        raise DamagedFileError(name, line, broken.what) from None
    except (ValueError, OverflowError) as problem:  # a date or a number beyond what there is
        raise DamagedFileError(
            name, last, f"its run holds what cannot be read: {problem}"
        ) from None


def _addendum(line: bytes, name: str, at: int) -> Addendum:
    """The addendum in a line. Raises DamagedFileError."""
    try:
        return Addendum.model_validate(_exactly(line, name, at)["addendum"])
    except ValidationError:
        raise DamagedFileError(name, at, "the addendum is damaged") from None


def _exactly(line: bytes, name: str, at: int) -> dict[str, Any]:
    """The JSON object of a line. Raises DamagedFileError unless it is written as canonical JSON."""
    try:
        document = json.loads(line)
        exact = isinstance(document, dict) and canonical_json(document) == line.rstrip(b"\n")
    except (ValueError, RecursionError):
        exact = False
    if not exact:
        raise DamagedFileError(name, at, "the line is damaged")
    return document  # type: ignore[no-any-return]
