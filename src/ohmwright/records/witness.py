"""What this computer has seen of a store, kept apart from it.

An older copy of a store is whole in itself; only someone who remembers the newer one can tell.
Before each commit the files are told what is about to be written, after it that it is. They are
never waited for: after a power cut they are at most behind, which proves less and accuses nobody.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from secrets import token_hex

from sqlalchemy import Connection, select

from ohmwright.model.errors import RecordError

from .audit_finding import AuditFinding
from .lease import process_runs
from .private_files import create_private_file, link_into_place, make_private_folder
from .tables import EVENTS, LEDGER, RUNS

_LEDGER = "ledger"


@dataclass(frozen=True)
class ChainPosition:
    """A link that the store had: of a run's chain, or of the ledger where `run_id` is empty."""

    number: int
    hash: bytes
    run_id: str = ""


@dataclass(frozen=True)
class WitnessFile:
    """One witness file."""

    path: Path
    seen: ChainPosition
    """`number` is 0 where nothing was committed yet."""
    coming: ChainPosition
    """What was about to be committed last; as `seen` once it is."""
    process: int
    """Which process of this computer was about to."""

    def is_unfinished(self) -> bool:
        """Whether a commit was begun whose end nobody saw, and no other process is at it."""
        begun = self.coming != self.seen
        return begun and (self.process == os.getpid() or not process_runs(self.process))


class Witness:
    """The newest ledger entry, and the newest event of each run that is not finished."""

    def __init__(self, folder: Path) -> None:
        """`folder` belongs to one store."""
        self.folder = folder
        self._files: dict[str, _FileWriter] = {}

    def note_intended_event(self, run: int, newest: ChainPosition, coming: ChainPosition) -> None:
        """Remember that `coming` is about to follow `newest` in run number `run`.

        Raises RecordError: then nothing may be committed.
        """
        with self._told():
            self._file(str(run), newest).intend(coming)

    def note_committed_event(self, run: int, seen: ChainPosition) -> None:
        """Remember the newest event of run number `run`."""
        with self._told():
            self._file(str(run), seen).see(seen)

    def note_intended_entry(self, coming: ChainPosition) -> None:
        """Remember that `coming` is about to become the newest entry of the ledger."""
        with self._told():
            self._file(_LEDGER, ChainPosition(0, bytes(32))).intend(coming)

    def note_committed_entry(self, seen: ChainPosition) -> None:
        """Remember the newest entry of the ledger."""
        with self._told():
            self._file(_LEDGER, seen).see(seen)

    def drop_run(self, run: int) -> None:
        """The ledger holds the end of run number `run` from now on."""
        self._close(str(run))
        (self.folder / str(run)).unlink(missing_ok=True)

    def read_files(self) -> tuple[WitnessFile, ...]:
        """All of it. Raises RecordError for a file that makes no sense."""
        texts = ((path, _steady(path)) for path in sorted(self.folder.glob("[!.]*")))
        return tuple(_parsed(path, text) for path, text in texts if text is not None)

    def close(self) -> None:
        """Close the files."""
        for name in tuple(self._files):
            self._close(name)

    def _close(self, name: str) -> None:
        file = self._files.pop(name, None)
        if file is not None:
            file.close()

    def _file(self, name: str, begun: ChainPosition) -> _FileWriter:
        file = self._files.get(name)
        if file is None:
            make_private_folder(self.folder)
            file = self._files[name] = _FileWriter(self.folder / name, begun)
        return file

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except OSError as problem:
            raise RecordError(
                f"{self.folder}: the witness file cannot be written: {problem.strerror}.",
                "What was acknowledged is on record; an older copy of it could not be told.",
                "Make room or correct the permissions, then resume the run.",
            ) from None


class _FileWriter:
    """Two lines of constant length, each written over in place: what is seen, what is coming."""

    def __init__(self, path: Path, begun: ChainPosition) -> None:
        """A run's file is made anew, since its number may have been meant for another run."""
        if begun.run_id or not path.exists():
            draft = path.with_name(f".{path.name}.{token_hex(4)}")
            with os.fdopen(create_private_file(draft), "wb") as file:
                file.write(_committed_line(begun) + _intended_line(begun))
            draft.replace(path) if begun.run_id else link_into_place(draft, path)
        self._descriptor = os.open(path, os.O_WRONLY | getattr(os, "O_BINARY", 0))
        self._second = len(_committed_line(begun))

    def see(self, seen: ChainPosition) -> None:
        """Write the first line."""
        _put(self._descriptor, _committed_line(seen), 0)

    def intend(self, coming: ChainPosition) -> None:
        """Write the second line."""
        _put(self._descriptor, _intended_line(coming), self._second)

    def close(self) -> None:
        """Close the file."""
        os.close(self._descriptor)


def _committed_line(seen: ChainPosition) -> bytes:
    return f"{seen.number:12} {seen.hash.hex()} {seen.run_id}\n".encode()


def _intended_line(coming: ChainPosition) -> bytes:
    return f"{coming.number:12} {coming.hash.hex()} {os.getpid():10}\n".encode()


def _put(descriptor: int, line: bytes, at: int) -> None:
    if sys.platform == "win32":
        os.lseek(descriptor, at, os.SEEK_SET)
        os.write(descriptor, line)
    else:
        os.pwrite(descriptor, line, at)


def _steady(path: Path) -> str | None:
    """The text of a file that another program may be writing; None once it is gone."""
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


def _parsed(path: Path, text: str) -> WitnessFile:
    """Files of before there were intents have one line."""
    try:
        first, *second = text.rstrip("\n").split("\n")
        number, head, *name = first.split(maxsplit=2)
        seen = ChainPosition(int(number), bytes.fromhex(head), "".join(name).strip())
        if not second:
            return WitnessFile(path, seen, seen, 0)
        number, head, process = second[0].split()
        coming = ChainPosition(int(number), bytes.fromhex(head), seen.run_id)
        return WitnessFile(path, seen, coming, int(process))
    except ValueError:
        raise RecordError(
            f"{path}: this witness file makes no sense.",
            "Whether the store is the newest copy cannot be told by it.",
            "Hold the store against a certificate ('record verify --head HASH'), then "
            "move the file away.",
        ) from None


def losses(connection: Connection, witness: Witness) -> Iterator[AuditFinding]:
    """What the witness has seen and the store does not hold; and what it was about to see.

    The witness is read first, all of it: what another program commits meanwhile is no loss.
    """
    for file in witness.read_files():
        lost = _loss(connection, witness, file.seen)
        if lost is not None:
            yield lost
        elif file.is_unfinished() and _hash_at(connection, file.coming) is None:
            yield _possible_loss(file)


def _hash_at(connection: Connection, seen: ChainPosition) -> bytes | None:
    """The hash that the store has in this place; None where it has nothing there."""
    if seen.run_id:
        query = (
            select(EVENTS.c.hash)
            .join(RUNS, RUNS.c.number == EVENTS.c.run)
            .where(RUNS.c.run_id == seen.run_id, EVENTS.c.number == seen.number)
        )
    else:
        query = select(LEDGER.c.hash).where(LEDGER.c.number == seen.number)
    return connection.execute(query).scalar()


def _loss(connection: Connection, witness: Witness, seen: ChainPosition) -> AuditFinding | None:
    """What was committed and is not there."""
    found = _hash_at(connection, seen)
    if seen.number == 0 or found == seen.hash:
        return None
    state = "is missing" if found is None else "is another one"
    if seen.run_id:
        what = f"an event that {witness.folder} has seen {state}"
        return AuditFinding(what, seen.run_id, seen.number)
    what = f"entry {seen.number} of the ledger, which {witness.folder} has seen, {state}"
    return AuditFinding(f"{what}: the store is older than what this computer wrote, or altered")


def _possible_loss(file: WitnessFile) -> AuditFinding:
    """A crash just before a commit looks like the loss of what was committed just before one."""
    coming = file.coming
    what = "the event" if coming.run_id else f"entry {coming.number} of the ledger"
    return AuditFinding(
        f"{what} was about to be written when the program or the computer stopped, and is not "
        "there. A program that was killed had not been told that it is kept; after a power cut "
        "it may have been. Go on with the run; where nobody will, move away "
        f"{file.path}",
        coming.run_id,
        coming.number if coming.run_id else None,
        "unknown",
    )
