"""Files and folders that only their owner can read, whatever the umask."""

from __future__ import annotations

import os
import stat
from contextlib import suppress
from pathlib import Path


def make_private_folder(folder: Path) -> None:
    """Make `folder`, and each missing folder above it, with mode 0700.

    A folder that is there stays as it is.
    """
    for one in reversed((folder, *folder.parents)):
        if not one.exists():
            with suppress(FileExistsError):  # another program was first
                one.mkdir(mode=0o700)


def create_private_file(path: Path) -> int:
    """The descriptor of a new file with mode 0600, open for writing. Raises FileExistsError."""
    return os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600)


def link_into_place(draft: Path, path: Path) -> None:
    """Give the finished file `draft` the name `path`, unless a file has it: then that one stays."""
    with suppress(FileExistsError):
        draft.rename(path) if os.name == "nt" else os.link(draft, path)
    draft.unlink(missing_ok=True)


def access_of_others(path: Path) -> str | None:
    """What others than the owner may do with a file or folder: read, change, or both; else None.

    None too where there is no such file, and on systems without file modes.
    """
    try:
        mode = path.stat().st_mode if os.name == "posix" else 0
    except OSError:
        return None
    may = [
        what
        for what, bits in (("read", stat.S_IRGRP | stat.S_IROTH), ("change", 0o022))
        if mode & bits
    ]
    return " and ".join(may) or None
