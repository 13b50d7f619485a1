"""The check that a result can be written, before the work that it comes of is begun."""

from __future__ import annotations

from pathlib import Path

from ohmwright.model.errors import UsageError


def refuse_unwritable(path: Path, *, overwrite: bool, choice: str = "--overwrite") -> None:
    """Raise UsageError where `path` cannot be written, or exists and `overwrite` is false.

    `choice`: what the caller gives to replace a file. A file that does not exist is made and
    removed again. A device or pipe is not tried.
    """
    try:
        exists = path.exists()
        if exists and not (path.is_file() or path.is_dir()):
            return
        if path.is_file() and not overwrite:
            raise UsageError(
                f"{path} exists.",
                "Nothing was written, and nothing was switched on.",
                f"Give another name, or {choice}.",
            )
        with path.open("ab"):
            pass
        if not exists:
            path.unlink()
    except OSError as problem:
        raise UsageError(
            f"{path}: cannot be written: {problem.strerror}.",
            "Nothing was switched on.",
            "Give a name in a folder that exists and that you may write to.",
        ) from None
