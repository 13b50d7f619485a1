"""Files of results: that they can be written, asked before the work is begun; written whole."""

from __future__ import annotations

from errno import EDQUOT, EFBIG, ENOSPC
from pathlib import Path

from ohmwright.model.errors import UsageError

PICTURES = (".svg", ".png", ".pdf")
"""Endings of the files that a picture can be."""
_ENDINGS = {
    "CSV": frozenset({".csv"}),
    "Parquet": frozenset({".parquet", ".pq"}),
    "JSON Lines": frozenset({".jsonl", ".json"}),
    "PDF": frozenset({".pdf"}),
    "HTML": frozenset({".html", ".htm"}),
    "XML": frozenset({".xml"}),
    "another form": frozenset({".xlsx", ".xls", ".sqlite", ".svg", ".png"}),
}
"""What a reader takes a file of each ending for; any other ending says nothing."""
_WRITTEN_IN_PART = (ENOSPC, EDQUOT, EFBIG)
"""Errors of a disk that has no room for the whole of a file."""


def is_parquet(path: Path) -> bool:
    """Return whether the ending of `path` says that it holds Parquet."""
    return path.suffix.lower() in _ENDINGS["Parquet"]


def refuse_ending_of_another(path: Path, written: str, *, means: str, do: str) -> None:
    """Raise UsageError where the ending of `path` says that it holds something else.

    `written`: what it will hold, a key of the endings; `means`: what was not done.
    """
    others = (endings for form, endings in _ENDINGS.items() if form != written)
    if path.suffix.lower() in frozenset().union(*others):
        raise UsageError(
            f"{path} would hold {written}, which its ending {path.suffix} denies.", means, do
        )


def refuse_no_picture(path: Path, *, option: str, means: str) -> None:
    """Raise UsageError unless a picture can be written as what the ending of `path` says.

    `option`: what the caller named it by; `means`: what was not done.
    """
    if path.suffix.lower() not in PICTURES:
        raise UsageError(
            f"{option} {path}: a picture cannot be written with this ending.",
            means,
            f"Give a name that ends in {', '.join(PICTURES)}.",
        )


def refuse_unwritable(
    path: Path,
    *,
    overwrite: bool,
    choice: str = "--overwrite",
    means: str = "Nothing was written.",
) -> None:
    """Raise UsageError where `path` cannot be written, or exists and `overwrite` is false.

    `choice`: what the caller gives to replace a file; `means`: what was not done. A file that
    does not exist is made and removed again. A device or pipe is not tried.
    """
    try:
        exists = path.exists()
        if exists and not (path.is_file() or path.is_dir()):
            return
        if path.is_file() and not overwrite:
            raise UsageError(
                f"{path} exists.",
                means,
                f"Give another name, or {choice}.",
            )
        with path.open("ab"):
            pass
        if not exists:
            path.unlink()
    except OSError as problem:
        raise UsageError(
            f"{path}: cannot be written: {problem.strerror}.",
            means,
            "Give a name in a folder that exists and that you may write to.",
        ) from None


def write_whole(path: Path, content: bytes) -> None:
    """Write a file, and leave no part of it where there is no room. Raises UsageError."""
    try:
        path.write_bytes(content)
    except OSError as problem:
        if problem.errno in _WRITTEN_IN_PART and path.is_file():
            path.unlink()  # a part would look whole
        raise UsageError(f"{path}: cannot be written: {problem.strerror}.") from None
