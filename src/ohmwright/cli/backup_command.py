"""The commands `record backup` and `record restore`: a whole store as one file, and back."""

from __future__ import annotations

from pathlib import Path
from shlex import quote

from rich.text import Text

from ohmwright.api import paths
from ohmwright.model.errors import RecordError, SourceError, UsageError
from ohmwright.model.typed_command import typed_command
from ohmwright.records.backup import CheckedCopy, copy_store, restore_store
from ohmwright.records.keys import KeyStatus
from ohmwright.records.open_database import is_url, open_database, sqlite_file
from ohmwright.records.seal import fingerprint
from ohmwright.records.trust import Signer
from ohmwright.records.witness import Witness, losses
from ohmwright.reports.text import printable

from .console import out, print_json
from .open_records import open_existing_records, own_key, trusted_keys


def backup_records(file: Path, records: str | None, *, as_json: bool) -> int:
    """Copy the store to the new file `file`, check the copy and print what it holds.

    Returns 0 where the copy is whole, 6 where it is as damaged as the store.
    """
    place = _refuse_no_file(records, file)
    _refuse_other_name(file)
    with open_existing_records(place) as store:
        copy = copy_store(store.database, file)
    if as_json:
        print_json(_document(copy, file))
    else:
        _print_contents(copy, f"{file} is a copy of {place}")
        _say(
            f"Not in it: your signing key ({paths.operator_key_file()}) and whom you trust "
            f"({paths.trusted_keys_file()}). Keep copies of them, apart from it. Read it as it is "
            f"with --records {file}; 'ohmwright record restore' makes a store of it again."
        )
    return _exit_code(copy)


def restore_records(file: Path, records: str | None, *, as_json: bool) -> int:
    """Make a new store of the copy `file`; print what it holds, and what to do about keys.

    Returns 0, or 6 where this computer has seen more of the store than the copy holds. A damaged
    copy is refused.
    """
    place = sqlite_file(_refuse_no_file(records, file))
    if not file.is_file():
        raise SourceError(f"{file}: there is no such copy.")
    copy = restore_store(file, place)
    lost = _lost(place, copy)
    if as_json:
        print_json(_document(copy, place) | {"lost": lost})
    else:
        _print_contents(copy, f"{place} is restored from {file}")
        for said in (*_of_keys(copy), *_of_witness(copy, lost)):
            _say(said)
        _say(
            "Both are one store to this computer: add runs to one of them alone. What is added to "
            "the other is missing in the first, and 'record verify' takes that for a loss."
        )
    return RecordError.exit_code if lost else _exit_code(copy)


def _refuse_no_file(records: str | None, file: Path) -> str:
    """Return where the records are. Raises UsageError for a database server."""
    place = paths.records_location(records)
    if is_url(place):
        raise UsageError(
            "Records in PostgreSQL are copied and restored by PostgreSQL's own programs.",
            "They copy rights, triggers and every table while benches go on.",
            f"For a copy: pg_dump --format=custom --file={file}.dump URL; back into a new, empty "
            "database: pg_restore --dbname=URL DUMP; then ohmwright record verify. A copy that "
            f"needs no server: {typed_command(f'record export {quote(str(file))}.jsonl')}",
        )
    return str(sqlite_file(place))


def _refuse_other_name(file: Path) -> None:
    if file.suffix != ".sqlite":
        raise UsageError(
            f"{file}: a copy of records is a file that ends in .sqlite.",
            "By any other name no command would read it.",
            f"Give for example: {file.with_suffix('.sqlite')}",
        )


def _lost(place: Path, copy: CheckedCopy) -> list[str]:
    """What this computer has seen of the store and the copy does not hold."""
    database = open_database(str(place))
    try:
        with database.read() as connection:
            witness = Witness(paths.witness_folder() / copy.store_id)
            return [one.what for one in losses(connection, witness) if one.kind == "wrong"]
    finally:
        database.close()


def _print_contents(copy: CheckedCopy, what: str) -> None:
    for finding in copy.findings:
        out().print(Text(printable(str(finding)), style="bold red"), soft_wrap=True)
    so = "not whole, as named above" if copy.findings else "every hash, link and signature holds"
    runs = f"{copy.runs} run{'' if copy.runs == 1 else 's'}"
    _say(f"{what}: {runs}, {copy.events} events, {copy.entries} ledger entries; {so}.")
    _say(
        f"The hash of its newest ledger entry: {copy.head}. Note it elsewhere: "
        f"'{typed_command('record verify --head HASH')}' tells whether records still have "
        "what is in this copy."
    )


def _of_keys(copy: CheckedCopy) -> list[str]:
    """Which keys signed in it and are not trusted here, and whether this computer can sign."""
    own, trusted = own_key(), trusted_keys(None)
    said = [_of_stranger(one) for one in copy.signers if one.key not in trusted]
    status: KeyStatus = own.status()
    if status.problem is not None:
        said.append(str(status.problem))
    elif status.public is None:
        said.append(
            f"This computer has no signing key: put a copy of yours to {own.path}, or: ohmwright "
            "record keys new --from FILE. Without one the next run makes a new key."
        )
    else:
        said.append(f"This computer signs with key {fingerprint(status.public)}.")
    return said


def _of_stranger(signer: Signer) -> str:
    """That a key which nobody here trusts has signed something in the copy."""
    runs = f"{len(signer.runs)} run{'' if len(signer.runs) == 1 else 's'}"
    trust = typed_command(f"record keys trust {signer.fingerprint} --name OWNER")
    return (
        f"Key {signer.fingerprint}, said to be of {', '.join(signer.operators)}, is not trusted "
        f"here. It signed the end, approval, amendment or void of {runs}. Once you have compared "
        f"it with its owner: {trust}"
    )


def _of_witness(copy: CheckedCopy, lost: list[str]) -> list[str]:
    """What this computer remembers of the store."""
    folder = paths.witness_folder() / copy.store_id
    if lost:
        return [
            *(f"Lost since that copy: {what}." for what in lost),
            "Look for a newer copy, and for runs that were exported or are on another laptop. "
            f"Nothing is added to this one until you accept the loss: move {folder} away.",
        ]
    if folder.exists():
        return ["It holds all that this computer has seen of these records."]
    return [
        "This computer has not seen these records before. That they are the newest is shown by a "
        "hash noted elsewhere, as on a certificate: " + typed_command("record verify --head HASH")
    ]


def _exit_code(copy: CheckedCopy) -> int:
    return RecordError.exit_code if copy.findings else 0


def _document(copy: CheckedCopy, file: Path) -> dict[str, object]:
    return {
        "file": str(file),
        "store": copy.store_id,
        "runs": copy.runs,
        "events": copy.events,
        "entries": copy.entries,
        "head": copy.head,
        "keys": [{"fingerprint": one.fingerprint, "key": one.key} for one in copy.signers],
        "findings": [str(finding) for finding in copy.findings],
    }


def _say(what: str) -> None:
    out().print(Text(printable(what)), soft_wrap=True)
