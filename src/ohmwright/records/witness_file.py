"""The file format of the witness: the last link of a chain, and the link being committed.

Two lines of constant length, each written over in place.
"""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass
from pathlib import Path
from secrets import token_hex
from typing import NamedTuple

from ohmwright.model.errors import RecordError

from .lease import process_runs
from .private_files import create_private_file, link_into_place


class ChainPosition(NamedTuple):
    """A link of a run's chain, or of the ledger where `run_id` is empty: its number and hash."""

    number: int
    hash: bytes
    run_id: str = ""

    @property
    def short(self) -> str:
        """The first 12 digits of the hash, which `record verify --head` takes for the whole."""
        return self.hash.hex()[:12]


@dataclass(frozen=True)
class WitnessFile:
    """The content of one witness file."""

    path: Path
    committed: ChainPosition
    """The newest link; its `number` is 0 where nothing was committed yet."""
    intended: ChainPosition
    """What was about to be committed last; equal to `committed` once it is."""
    process: int
    """The process of this computer that wrote `intended`."""

    def is_unfinished(self) -> bool:
        """Whether a commit was begun whose end nobody saw, and no other process is at it."""
        begun = self.intended != self.committed
        return begun and (self.process == os.getpid() or not process_runs(self.process))


class FileWriter:
    """Writes one witness file: the first line what is committed, the second what is intended."""

    def __init__(self, path: Path, start: ChainPosition) -> None:
        """Open the file at `path`, made with the link `start` where it is missing.

        The file of a run is always made anew: its number may have been meant for another run.
        """
        if start.run_id or not path.exists():
            draft = path.with_name(f".{path.name}.{token_hex(4)}")
            with os.fdopen(create_private_file(draft), "wb") as file:
                file.write(_committed_line(start) + _intended_line(start))
            draft.replace(path) if start.run_id else link_into_place(draft, path)
        self._descriptor = os.open(path, os.O_WRONLY | getattr(os, "O_BINARY", 0))
        self._second = len(_committed_line(start))

    def write_committed(self, link: ChainPosition) -> None:
        """Write the first line."""
        _write_at(self._descriptor, _committed_line(link), 0)

    def write_intended(self, link: ChainPosition) -> None:
        """Write the second line."""
        _write_at(self._descriptor, _intended_line(link), self._second)

    def close(self) -> None:
        """Close the file."""
        os.close(self._descriptor)


def _committed_line(link: ChainPosition) -> bytes:
    """Number, hash and run of a link; of constant length within one file."""
    return f"{link.number:12} {link.hash.hex()} {link.run_id}\n".encode()


def _intended_line(link: ChainPosition) -> bytes:
    """Number and hash of a link and the number of this process; of constant length."""
    return f"{link.number:12} {link.hash.hex()} {os.getpid():10}\n".encode()


def _write_at(descriptor: int, line: bytes, at: int) -> None:
    """Write `line` at the offset `at` of an open file."""
    if sys.platform == "win32":
        os.lseek(descriptor, at, os.SEEK_SET)
        os.write(descriptor, line)
    else:
        os.pwrite(descriptor, line, at)


def _stable_text(path: Path) -> str | None:
    """The text of a file that another program may be writing; None once it is gone.

    It is read until two reads agree.
    """
    before = None
    for _ in range(100):
        try:
            text = path.read_text(encoding="utf-8", errors="replace")
        except FileNotFoundError:
            return None
        if text == before:
            break
        before = text
    return before


def read_witness_file(path: Path) -> WitnessFile | None:
    """The content of a witness file; None once it is gone. Raises RecordError for a damaged one.

    A file of an older version has one line, which counts as committed and intended.
    """
    text = _stable_text(path)
    if text is None:
        return None
    try:
        first, *second = text.rstrip("\n").split("\n")
        number, head, *name = first.split(maxsplit=2)
        committed = ChainPosition(int(number), bytes.fromhex(head), "".join(name).strip())
        if not second:
            return WitnessFile(path, committed, committed, 0)
        number, head, process = second[0].split()
        intended = ChainPosition(int(number), bytes.fromhex(head), committed.run_id)
        return WitnessFile(path, committed, intended, int(process))
    except ValueError:
        raise RecordError(
            f"{path}: this witness file makes no sense.",
            "Whether the store is the newest copy cannot be told by it.",
            "Hold the store against a certificate ('record verify --head HASH'), then "
            "move the file away.",
        ) from None
