"""A folder of files, one a run, one line of JSON an event."""

from __future__ import annotations

import os
from pathlib import Path
from typing import IO

from pydantic import ValidationError

from ohmwright.model.errors import RecordError, UsageError
from ohmwright.model.event import EVENTS, Event

from .store import Store

_ENDING = ".jsonl"
_LONGEST_LINE = 1 << 20


class JsonLinesStore(Store):
    """Appends with fsync; a line torn by a crash was never acknowledged and is left out."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def append(self, run_id: str, event: Event) -> None:
        """Write one line and wait until it is on disk."""
        path = self._path(run_id)
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            with path.open("a+b") as file:
                _drop_torn_line(file)
                file.write(event.model_dump_json().encode() + b"\n")
                file.flush()
                os.fsync(file.fileno())
        except OSError as problem:
            raise RecordError(
                f"{path}: the record cannot be written: {problem.strerror}.",
                "The run was stopped so that nothing is lost.",
                "Make room or give another folder with --records, then resume the run.",
            ) from None

    def events(self, run_id: str) -> tuple[Event, ...]:
        """Read and check every line."""
        path = self._path(run_id)
        if not path.exists():
            raise UsageError(
                f"There is no run '{run_id}' in {self._folder}.",
                do="See the runs with 'ohmwright runs'.",
            )
        *whole, _torn = path.read_bytes().split(b"\n")
        return tuple(_event(path, number, line) for number, line in enumerate(whole, start=1))

    def run_ids(self) -> tuple[str, ...]:
        """The names of the files, which sort by date."""
        return tuple(sorted(path.stem for path in self._folder.glob(f"*{_ENDING}")))

    def place(self, run_id: str) -> str:
        """The path of the file."""
        return str(self._path(run_id))

    def _path(self, run_id: str) -> Path:
        return self._folder / f"{run_id}{_ENDING}"


def _event(path: Path, number: int, line: bytes) -> Event:
    try:
        return EVENTS.validate_json(line)
    except ValidationError as problem:
        raise RecordError(
            f"{path}:{number}: this line is no event: {problem.errors()[0]['msg']}.",
            "The record was changed or damaged after it was written.",
            "Restore the file from a copy; do not use it as evidence.",
        ) from None


def _drop_torn_line(file: IO[bytes]) -> None:
    """Cut off a last line without its end: a crash tore it before it was acknowledged."""
    length = file.seek(0, os.SEEK_END)
    file.seek(max(0, length - 1))
    if file.read(1) in (b"\n", b""):
        return
    file.seek(max(0, length - _LONGEST_LINE))
    tail = file.read()
    file.truncate(length - len(tail) + tail.rfind(b"\n") + 1)
