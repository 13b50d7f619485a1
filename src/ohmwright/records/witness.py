"""What this computer has seen of a store, kept apart from it.

An older copy of a store is whole in itself; only someone who remembers the newer one can tell.
The files are written after each commit and never waited for: after a power cut they are at
most behind, which proves less and accuses nobody.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from secrets import token_hex

from sqlalchemy import Connection, select

from ohmwright.model.errors import RecordError

from .tables import EVENTS, LEDGER, RUNS

_LEDGER = "ledger"


@dataclass(frozen=True)
class Seen:
    """A link that the store had: of a run's chain, or of the ledger where `run_id` is empty."""

    number: int
    hash: bytes
    run_id: str = ""


class Witness:
    """The newest ledger entry, and the newest event of each run that is not finished."""

    def __init__(self, folder: Path) -> None:
        """`folder` belongs to one store."""
        self.folder = folder
        self._files: dict[str, int] = {}

    def saw_event(self, run: int, seen: Seen) -> None:
        """Remember the newest event of run number `run`."""
        self._write(str(run), seen)

    def saw_entry(self, seen: Seen) -> None:
        """Remember the newest entry of the ledger."""
        self._write(_LEDGER, seen)

    def finished(self, run: int) -> None:
        """The ledger holds the end of run number `run` from now on."""
        self._close(str(run))
        (self.folder / str(run)).unlink(missing_ok=True)

    def seen(self) -> tuple[Seen, ...]:
        """All that is remembered. Raises RecordError for a file that makes no sense."""
        found = []
        for path in sorted(self.folder.glob("[!.]*")):
            text = _steady(path)
            if text is None:
                continue
            try:
                number, head, *name = text.split(maxsplit=2)
                found.append(Seen(int(number), bytes.fromhex(head), "".join(name).strip()))
            except ValueError:
                raise RecordError(
                    f"{path}: this witness file makes no sense.",
                    "Whether the store is the newest copy cannot be told by it.",
                    "Hold the store against a certificate ('record verify --head HASH'), then "
                    "move the file away.",
                ) from None
        return tuple(found)

    def close(self) -> None:
        """Close the files."""
        for name in tuple(self._files):
            self._close(name)

    def _close(self, name: str) -> None:
        file = self._files.pop(name, None)
        if file is not None:
            os.close(file)

    def _made(self, name: str, line: bytes) -> int:
        """A file that nobody ever sees empty."""
        self.folder.mkdir(parents=True, exist_ok=True)
        with suppress(FileNotFoundError):
            return os.open(self.folder / name, os.O_WRONLY)
        draft = self.folder / f".{name}.{token_hex(4)}"
        file = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        os.write(file, line)
        draft.replace(self.folder / name)
        return file

    def _write(self, name: str, seen: Seen) -> None:
        line = f"{seen.number:12} {seen.hash.hex()} {seen.run_id}\n".encode()
        try:
            if name not in self._files:
                self._files[name] = self._made(name, line)
            file = self._files[name]
            os.lseek(file, 0, os.SEEK_SET)
            os.write(file, line)  # always of the same length: what is there is replaced
        except OSError as problem:
            raise RecordError(
                f"{self.folder}: the witness file cannot be written: {problem.strerror}.",
                "The event itself is on record; an older copy of the record could not be told.",
                "Make room or correct the permissions, then resume the run.",
            ) from None


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


def missing(connection: Connection, witness: Witness) -> Iterator[tuple[str, int | None, str]]:
    """What the witness has seen and the store does not hold: run, event, what is wrong.

    The witness is read first, all of it: what another program commits meanwhile is no loss.
    """
    for seen in witness.seen():
        if seen.run_id:
            query = (
                select(EVENTS.c.hash)
                .join(RUNS, RUNS.c.number == EVENTS.c.run)
                .where(RUNS.c.run_id == seen.run_id, EVENTS.c.number == seen.number)
            )
        else:
            query = select(LEDGER.c.hash).where(LEDGER.c.number == seen.number)
        found = connection.execute(query).scalar()
        if found == seen.hash:
            continue
        state = "is missing" if found is None else "is another one"
        if seen.run_id:
            yield seen.run_id, seen.number, f"an event that {witness.folder} has seen {state}"
        else:
            what = f"entry {seen.number} of the ledger, which {witness.folder} has seen, {state}"
            yield "", None, f"{what}: the store is older than what this computer wrote, or altered"
