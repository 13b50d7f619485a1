"""What this computer has seen of a store, remembered apart from it.

An older copy of a store is whole in itself; only what remembers the newer one shows that it is
old. Before each commit the files of the witness get what is about to be written, after it that
it is. Nothing waits for them to reach the disk: after a power cut they are at most behind, which
proves less and accuses nobody.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from sqlalchemy import Connection, select

from ohmwright.model.errors import RecordError

from .audit_finding import AuditFinding
from .canonical_json import sha256_digest
from .ends_seen import EndsSeen
from .ledger import entry_document, is_finished
from .private_files import make_private_folder
from .store_places import StorePlaces
from .tables import EVENTS, LEDGER, RUNS
from .witness_file import ChainPosition, FileWriter, WitnessFile, read_witness_file

_LEDGER = "ledger"


class Witness:
    """Remembers the newest ledger entry, and the newest event of each run that is not finished."""

    def __init__(self, folder: Path) -> None:
        """`folder` belongs to one store."""
        self.folder = folder
        self.ends = EndsSeen(folder.parent / "ends")
        self.places = StorePlaces(folder.parent / "places")
        self._files: dict[str, FileWriter] = {}
        self._errors = _FileErrors(folder)

    def note_intended_event(self, run: int, newest: ChainPosition, intended: ChainPosition) -> None:
        """Remember that `intended` is about to follow `newest` in run number `run`.

        Raises RecordError: then nothing may be committed.
        """
        with self._errors:
            self._file(str(run), newest).write_intended(intended)

    def note_committed_event(self, run: int, link: ChainPosition) -> None:
        """Remember that `link` is now the newest event of run number `run`."""
        with self._errors:
            self._file(str(run), link).write_committed(link)

    def note_intended_entry(self, intended: ChainPosition) -> None:
        """Remember that `intended` is about to become the newest entry of the ledger."""
        with self._errors:
            self._file(_LEDGER, ChainPosition(0, bytes(32))).write_intended(intended)

    def note_committed_entry(self, link: ChainPosition) -> None:
        """Remember that `link` is now the newest entry of the ledger."""
        with self._errors:
            self._file(_LEDGER, link).write_committed(link)

    def note_end(self, run: int, end: ChainPosition) -> None:
        """Remember how run number `run` ended, whatever store it is in; else forget the run."""
        self.remember_end(end)
        self.forget_run(run)

    def remember_end(self, end: ChainPosition) -> None:
        """Remember how a run ended, whatever store it is in."""
        with self._errors:
            self.ends.note(end)

    def note_place(self, place: str) -> None:
        """Remember that the store is at `place`."""
        with self._errors:
            self.places.note(place, self.folder.name)

    def forget_run(self, run: int) -> None:
        """Remember nothing of the events of run number `run`: the ledger holds its end."""
        self._close(str(run))
        (self.folder / str(run)).unlink(missing_ok=True)

    def newest_entry(self) -> ChainPosition:
        """The newest entry of the ledger that is remembered; its number is 0 for none."""
        file = read_witness_file(self.folder / _LEDGER)
        return ChainPosition(0, bytes(32)) if file is None else file.committed

    def read_files(self) -> tuple[WitnessFile, ...]:
        """Everything that is remembered. Raises RecordError for a damaged file."""
        found = (read_witness_file(path) for path in sorted(self.folder.glob("[!.]*")))
        return tuple(file for file in found if file is not None)

    def close(self) -> None:
        """Close the files."""
        for name in tuple(self._files):
            self._close(name)

    def _close(self, name: str) -> None:
        """Close one file, if it is open."""
        file = self._files.pop(name, None)
        if file is not None:
            file.close()

    def _file(self, name: str, start: ChainPosition) -> FileWriter:
        """The open file `name`, made with the link `start` where it is not open yet."""
        file = self._files.get(name)
        if file is None:
            make_private_folder(self.folder)
            file = self._files[name] = FileWriter(self.folder / name, start)
        return file


class _FileErrors:
    """Raises an OSError within its block as a RecordError; a class, for it is entered often."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def __enter__(self) -> None:
        return None

    def __exit__(self, _: object, problem: BaseException | None, __: object) -> None:
        if isinstance(problem, OSError):
            raise RecordError(
                f"{self._folder}: the witness file cannot be written: {problem.strerror}.",
                "What was acknowledged is on record; an older copy of it could not be told.",
                "Make room, correct the permissions or have the limit of open files raised, then "
                "try again; a run that was cut short can go on.",
            ) from None


def losses(connection: Connection, witness: Witness) -> Iterator[AuditFinding]:
    """A finding for each link that the witness has seen and the store does not hold.

    Also for a commit that was begun and whose end nobody saw, of kind `unknown`. The whole witness
    is read first, so that what another program commits meanwhile is not taken for a loss.
    """
    for file in witness.read_files():
        lost = _loss(connection, witness, file.committed)
        if lost is not None:
            yield lost
        elif file.is_unfinished() and _hash_at(connection, file.intended) is None:
            yield _possible_loss(file)


def remember_ledger(connection: Connection, witness: Witness) -> None:
    """Remember how far the ledger goes that somebody reads, as far as it follows what is known.

    Whoever reads an older copy later, without the end that was read here, is told so. An entry that
    another program writes meanwhile may be forgotten by this, which accuses nobody. Raises
    RecordError.
    """
    known = newest = witness.newest_entry()
    query = select(LEDGER.c.number, LEDGER.c.document, LEDGER.c.hash)
    for row in connection.execute(query.where(LEDGER.c.number > known.number).order_by("number")):
        document = entry_document(row.document)
        follows = document.get("after") == newest.hash.hex() and row.number == newest.number + 1
        if not follows or sha256_digest(row.document) != row.hash:
            return
        newest = ChainPosition(row.number, row.hash)
    if newest != known:
        witness.note_committed_entry(newest)


def other_ends(connection: Connection, witness: Witness) -> Iterator[AuditFinding]:
    """A finding for each run that ended otherwise when this computer saw it end first.

    A run that is not finished here may be an older copy of it.
    """
    seen = witness.ends.first()
    for row in connection.execute(select(RUNS.c.number, RUNS.c.run_id)).all():
        end = seen.get(row.run_id)
        if end is None:
            continue
        if _hash_at(connection, end) != end.hash and is_finished(connection, row.number):
            yield AuditFinding(
                f"{witness.ends.path} has seen it end with another hash, {end.hash.hex()}, in this "
                "store or another: one of the two is not what was measured",
                end.run_id,
            )


def other_stores(place: str, witness: Witness) -> Iterator[AuditFinding]:
    """A warning for each other store that this computer has seen at `place`."""
    for name in witness.places.others(place, witness.folder.name):
        newest = Witness(witness.folder.with_name(name)).newest_entry()
        if newest.number > 0:
            yield AuditFinding(
                f"other records were here when this computer saw this place before: newest entry "
                f"{newest.number}, hash {newest.short}. These say nothing of them. Where they were "
                f"moved or deleted on purpose, take the line {name} out of {witness.places.path}",
                kind="warning",
            )


def _hash_at(connection: Connection, link: ChainPosition) -> bytes | None:
    """The hash that the store has at the place of `link`; None where it has nothing there."""
    if link.run_id:
        query = (
            select(EVENTS.c.hash)
            .join(RUNS, RUNS.c.number == EVENTS.c.run)
            .where(RUNS.c.run_id == link.run_id, EVENTS.c.number == link.number)
        )
    else:
        query = select(LEDGER.c.hash).where(LEDGER.c.number == link.number)
    return connection.execute(query).scalar()


def _loss(connection: Connection, witness: Witness, link: ChainPosition) -> AuditFinding | None:
    """The finding for a committed link that is missing or differs; None where the store has it."""
    found = _hash_at(connection, link)
    if link.number == 0 or found == link.hash:
        return None
    state = "is missing" if found is None else "is another one"
    if link.run_id:
        what = f"an event that {witness.folder} has seen {state}"
        return AuditFinding(what, link.run_id, link.number)
    what = f"entry {link.number} of the ledger, which {witness.folder} has seen, {state}"
    return AuditFinding(f"{what}: the store is older than what this computer has seen, or altered")


def _possible_loss(file: WitnessFile) -> AuditFinding:
    """The finding for a commit that was begun and is not there.

    It may never have been made, or may have been lost in a power cut right after it.
    """
    intended = file.intended
    what = "the event" if intended.run_id else f"entry {intended.number} of the ledger"
    return AuditFinding(
        f"{what} was about to be written when the program or the computer stopped, and is not "
        "there. A program that was killed had not been told that it is kept; after a power cut "
        "it may have been. Go on with the run; where nobody will, move away "
        f"{file.path}",
        intended.run_id,
        intended.number if intended.run_id else None,
        "unknown",
    )
