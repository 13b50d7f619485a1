"""`record documents`: the files that a run went by, as they were read, out of its record."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path

from rich.text import Text

from ohmwright.model.document import Document
from ohmwright.model.errors import RecordError, UsageError
from ohmwright.model.event import DocumentKept

from .console import out
from .open_records import existing_records, meant
from .transfer_command import new_file


def write_documents(run: str, folder: Path, records: str | None) -> None:
    """Write each document of a run into `folder`, named by what it is for.

    Raises UsageError where the record keeps none, or a file of that name is there.
    """
    with existing_records(records) as store:
        run_id = meant(store, run)
        events = store.events(run_id)
    kept = [event.document for event in events if isinstance(event, DocumentKept)]
    if not kept:
        raise UsageError(
            f"The record of run {run_id} holds no documents.",
            "It was written by a version that kept only the SHA-256 of the procedure.",
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise RecordError(f"{folder}: cannot be made: {problem.strerror}.") from None
    for path, one in _named(folder, kept):
        with new_file(path) as file:
            file.write(one.text.encode())
        out().print(Text(f"Written: {path}"), soft_wrap=True)


def _named(folder: Path, kept: Iterable[Document]) -> Iterator[tuple[Path, Document]]:
    """Where each goes; the second of a role, from a run that was resumed with it, is its 2."""
    seen = Counter[str]()
    for one in kept:
        seen[one.role] += 1
        again = f"-{seen[one.role]}" if seen[one.role] > 1 else ""
        yield folder / f"{one.role.replace(' ', '-')}{again}.toml", one
