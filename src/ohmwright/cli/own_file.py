"""A new file for what a command writes, readable by its owner alone."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from ohmwright.model.errors import RecordError, SourceError, UsageError
from ohmwright.records.private_files import create_private_file


@contextmanager
def new_file(path: Path) -> Iterator[BinaryIO]:
    """Open a new file that its owner alone can read; remove it if the block fails.

    Raises UsageError where the file exists, SourceError or RecordError where it cannot be written.
    """
    try:
        file = os.fdopen(create_private_file(path), "wb")
    except FileExistsError:
        raise UsageError(
            f"{path} exists.", "Nothing is ever written over.", "Give another name."
        ) from None
    except OSError as problem:
        raise SourceError(f"{path}: cannot be written: {problem.strerror}.") from None
    try:
        with file:
            yield file
    except BaseException as problem:
        path.unlink(missing_ok=True)
        if isinstance(problem, OSError):
            raise RecordError(f"{path}: cannot be written: {problem.strerror}.") from None
        raise
