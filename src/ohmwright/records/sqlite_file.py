"""SQLite files: opened for writing where that is allowed, else for reading as they lie there."""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from sqlalchemy import URL, Engine, create_engine, event

from .private_files import create_private_file

_ALWAYS = ("trusted_schema = OFF", "cell_size_check = ON")
_DURABLE = ("journal_mode = WAL", "synchronous = FULL", *_ALWAYS)


def is_writable(path: Path) -> bool:
    """Whether we may write to a store: to its file, and to its folder, where SQLite keeps a log."""
    own = os.access in os.supports_effective_ids
    return all(os.access(one, os.W_OK, effective_ids=own) for one in (path, path.parent))


def writing_engine(path: Path, wait_s: float) -> Engine:
    """An engine that reads and writes `path`, made when it is missing; every commit is on disk."""
    return _engine(URL.create("sqlite", database=str(path)), wait_s, _DURABLE)


def reading_engine(path: Path, wait_s: float) -> Engine | None:
    """An engine that only reads `path`; None where its log can only be read beside a copy.

    Without its shared memory SQLite opens a store only where it may make that, or is told that
    nobody writes. That holds where nothing can be written, and is safe only without a log.
    """
    for mode in ("mode=ro", "immutable=1"):
        if mode == "immutable=1" and _has_log(path):
            return None
        if _opens(f"{path.absolute().as_uri()}?{mode}"):
            key, value = mode.split("=")
            url = URL.create("sqlite", database=path.absolute().as_uri())
            return _engine(url.set(query={key: value, "uri": "true"}), wait_s, _ALWAYS)
    return writing_engine(path, wait_s)  # which says what is wrong with it


class PrivateCopy:
    """A copy of a store with its log, in a temporary folder."""

    def __init__(self, path: Path) -> None:
        """Raises OSError where there is no room."""
        self._folder = TemporaryDirectory(prefix="ohmwright-")
        self.path = Path(self._folder.name) / path.name
        for end in ("", "-wal"):
            source = path.with_name(path.name + end)
            if source.exists():
                shutil.copyfile(source, self.path.with_name(self.path.name + end))

    def remove(self) -> None:
        """Delete the copy and its folder."""
        self._folder.cleanup()


def copy_beside(path: Path, version: str) -> Path:
    """Copy a store whose tables are of `version` to a new file beside it; return that path.

    The copy is consistent, and no file is written over. Raises OSError, sqlite3.Error.
    """
    number = 1
    while True:
        more = "" if number == 1 else f"-{number}"
        copy = path.with_name(f"{path.stem}.version-{version}{more}{path.suffix}")
        try:
            os.close(create_private_file(copy))
            break
        except FileExistsError:
            number += 1
    try:
        with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(copy)) as target:
            target.execute("PRAGMA synchronous = FULL")
            source.backup(target)
    except BaseException:
        copy.unlink()
        raise
    return copy


def _engine(url: URL, wait_s: float, pragmas: Sequence[str]) -> Engine:
    """An engine for `url` that sets `pragmas` on each connection."""
    engine = create_engine(url, connect_args={"timeout": wait_s})

    @event.listens_for(engine, "connect")
    def _on_connect(connection: Any, _record: object) -> None:
        connection.isolation_level = None  # transactions are begun by us, not by the driver
        for pragma in pragmas:
            connection.execute(f"PRAGMA {pragma}")

    return engine


def _opens(uri: str) -> bool:
    """Whether SQLite can open `uri`; also True for a damaged file, which other checks report."""
    try:
        with closing(sqlite3.connect(uri, uri=True)) as connection:
            connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.OperationalError:
        return False
    except sqlite3.Error:  # it is damaged, which is for others to say
        return True
    return True


def _has_log(path: Path) -> bool:
    """Whether there is a log beside the file that is not empty."""
    log = path.with_name(f"{path.name}-wal")
    return log.exists() and log.stat().st_size > 0
