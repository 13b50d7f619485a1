"""The command `record retention`: which runs are older than they need be kept, and an archive."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path

from rich.text import Text

from ohmwright.model.errors import RecordError, UsageError
from ohmwright.records.flat_rows import Row
from ohmwright.records.json_lines import read_runs
from ohmwright.records.queries import fetch_rows, last_seen
from ohmwright.records.run_lists import UNFINISHED, Filter, described, runs
from ohmwright.records.sql_store import SqlStore
from ohmwright.reports.text import counted
from ohmwright.wire.clock import RealClock

from .console import out, print_json
from .export_command import write_runs
from .open_records import open_records_for_reading
from .own_file import new_file
from .record_command import print_runs

_AGE = re.compile(r"([1-9][0-9]{0,3})([yd])")
_NOTHING_IS_DELETED = (
    "Nothing is deleted: every run is a link of one chain, and without it nobody could tell what "
    "was deleted from what was lost or removed. What may go is a whole store: from some day on "
    "keep new runs at another place (--records), put this one away ('ohmwright record backup'), "
    "and destroy it when the time of its last run is over. How long records are kept is for your "
    "local rules to say."
)


def show_retention(
    older_than: str, archive: Path | None, records: str | None, *, as_json: bool
) -> None:
    """Print the runs that began longer ago than `older_than` (as 10y), and archive them if asked.

    The archive is read back and held against the records. Raises UsageError, RecordError.
    """
    before = _before(older_than)
    with open_records_for_reading(records) as store:
        old = described(store.database, runs(store.database, Filter(until=before)))
        newest = {row.run_id for row in fetch_rows(store.database, last_seen(before))}
        written = None if archive is None else _archived(store, old, archive)
    if as_json:
        print_json(_document(before, old, newest, archive, written))
        return
    print_runs(old)
    _say(f"{counted(len(old), 'run')} began before {before:%Y-%m-%d}.")
    kept = [row["run_id"] for row in old if row["run_id"] in newest]
    if kept:
        _say(f"The newest of its unit, so perhaps still needed: {', '.join(kept)}")
    unfinished = [row for row in old if row["verdict"] == UNFINISHED]
    refused = [row["run_id"] for row in unfinished if row["refused"] is not None]
    unsigned = [row["run_id"] for row in unfinished if row["refused"] is None]
    if refused:
        _say(f"Refused before anything was measured, so signed by nobody: {', '.join(refused)}")
    if unsigned:
        _say(f"Not finished, so signed by nobody: {', '.join(unsigned)}")
    if archive is not None:
        _say(f"{archive}: read back, every hash and signature holds; its SHA-256: {written}")
    _say(_NOTHING_IS_DELETED)


def _before(older_than: str) -> datetime:
    """The time before which a run began that is older than `older_than`. Raises UsageError."""
    found = _AGE.fullmatch(older_than)
    now = RealClock().wall()
    if found is None or (found[2] == "y" and int(found[1]) >= now.year):
        raise UsageError(
            f"--older-than {older_than}: this is no age.", do="Give years or days, as 10y or 400d."
        )
    if found[2] == "d":
        return now - timedelta(days=int(found[1]))
    try:
        return now.replace(year=now.year - int(found[1]))
    except ValueError:  # the 29th of February
        return datetime(now.year - int(found[1]), 2, 28, tzinfo=UTC)


def _archived(store: SqlStore, old: Sequence[Row], archive: Path) -> str:
    """Write the runs to a new file, read it back, and return the file's SHA-256 in hexadecimal."""
    names = [row["run_id"] for row in old]
    with new_file(archive) as target:
        write_runs(store, names, target)
    heads = {}
    if names:
        with archive.open("rb") as lines:
            heads = {run.run_id: run.head.hex() for run, _ in read_runs(lines, str(archive))}
    if heads != {name: store.head(name) for name in names}:
        raise RecordError(
            f"{archive}: the archive is not what is on record.",
            "The records are as they were.",
            "Write it again, to another disk.",
        )
    return sha256(archive.read_bytes()).hexdigest()


def _document(
    before: datetime, old: Sequence[Row], newest: set[str], archive: Path | None, digest: str | None
) -> dict[str, object]:
    return {
        "before": before.isoformat(),
        "runs": [
            {key: row[key] for key in ("asset", "serial", "at", "verdict")}
            | {"run": row["run_id"], "newest_of_its_unit": row["run_id"] in newest}
            for row in old
        ],
        "archive": None if archive is None else str(archive),
        "sha256": digest,
    }


def _say(what: str) -> None:
    out().print(Text(what), soft_wrap=True)
