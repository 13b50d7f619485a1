"""The command `record documents`: write the files that a run used, from its record."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path

from rich.text import Text

from ohmwright.api.open_records import resolved_run_id
from ohmwright.api.paths import file_name_safe
from ohmwright.model.attachment import Attachment
from ohmwright.model.document import Document
from ohmwright.model.errors import RecordError, UsageError
from ohmwright.model.event import DocumentKept, FileAttached

from .console import out
from .open_records import open_existing_records
from .own_file import new_file


def write_documents(run: str, folder: Path, records: str | None) -> None:
    """Write each document of a run into `folder`, named after its role, and each attached file.

    Raises UsageError where the record has none or a file of that name exists, RecordError where the
    folder cannot be made.
    """
    with open_existing_records(records) as store:
        run_id = resolved_run_id(store, run)
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
    attached = [event.attachment for event in events if isinstance(event, FileAttached)]
    files = [(path, one.text.encode()) for path, one in _paths(folder, kept)]
    files += [(_attached_path(folder, n, one), one.content) for n, one in enumerate(attached, 1)]
    for path, content in files:
        with new_file(path) as file:
            file.write(content)
        out().print(Text(f"Written: {path}"), soft_wrap=True)


def _attached_path(folder: Path, number: int, one: Attachment) -> Path:
    """Return the path of an attached file; its name may be another system's, or lead elsewhere."""
    name = Path(one.name.replace("\\", "/")).name
    stem, suffix = file_name_safe(Path(name).stem)[:60], file_name_safe(Path(name).suffix[1:])[:8]
    return folder / f"attached-{number}-{stem}{'.' if suffix else ''}{suffix}"


def _paths(folder: Path, kept: Iterable[Document]) -> Iterator[tuple[Path, Document]]:
    """Yield the path of each document; further ones of a role, after a resume, end in -2, -3."""
    seen = Counter[str]()
    for one in kept:
        seen[one.role] += 1
        again = f"-{seen[one.role]}" if seen[one.role] > 1 else ""
        yield folder / f"{one.role.replace(' ', '-')}{again}{_ending(one)}", one


def _ending(one: Document) -> str:
    match one.role:
        case "given values":
            return ".json" if one.name.casefold().endswith(".json") else ".csv"
        case "analyzer back end" | "generator back end":
            return ".py"
        case _:
            return ".toml"
