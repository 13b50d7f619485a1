"""Opens the database of a store: SQLite in a file, or PostgreSQL at a URL."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path
from typing import NoReturn

from sqlalchemy import URL, Engine, create_engine, make_url
from sqlalchemy.exc import ArgumentError

from ohmwright.model.errors import RecordError, UsageError

from .database import Database
from .private_files import make_private_folder
from .sqlite_file import PrivateCopy, is_writable, reading_engine, writing_engine

FILE_NAME = "records.sqlite"
_WAIT_S = 5.0
"""How long to wait for a database that another program has locked."""

_only_read: ContextVar[bool] = ContextVar("_only_read", default=False)


@contextmanager
def only_read(*, meant: bool) -> Iterator[None]:
    """Within the block, if that is `meant`, have stores that are there read as they are.

    One of an older version is not migrated either.
    """
    before = _only_read.set(meant)
    try:
        yield
    finally:
        _only_read.reset(before)


def is_only_read() -> bool:
    """Whether a store that is opened now may not be changed."""
    return _only_read.get()


def is_url(where: str) -> bool:
    """Whether `where` names a database server rather than a file or folder."""
    return "://" in where


def sqlite_file(where: str) -> Path:
    """The file that `where` means: itself when it ends in .sqlite, else one in that folder.

    Raises UsageError for another file, RecordError where it cannot be seen whether one is there.
    """
    path = Path(where)
    if path.suffix == ".sqlite":
        _refuse_unseen(path)
        return path
    _refuse_unseen(path / FILE_NAME)
    if path.is_file():
        raise UsageError(
            f"{path} is a file, and no records.",
            "Records are a folder, a file that ends in .sqlite, or the URL of a database.",
            "Say where they are: --records, in a program records=.",
        )
    return path / FILE_NAME


def _refuse_unseen(path: Path) -> None:
    """Raise RecordError for a path of which the system does not say whether a file is there."""
    try:
        path.stat()
    except (FileNotFoundError, NotADirectoryError):
        return
    except OSError as problem:  # a folder that this account may not enter, a name that is too long
        raise RecordError(
            f"{path.parent}: whether records are there cannot be seen: {problem.strerror}.",
            "Nothing was measured or changed.",
            "Correct the permissions of the folders on the way, or name another with --records.",
        ) from None


def open_database(where: str, *, wait_s: float = _WAIT_S) -> Database:
    """The database at `where`: a PostgreSQL URL, a folder, or a file that ends in .sqlite.

    `wait_s`: how long to wait for a locked database. Raises UsageError for a URL that cannot be
    used, RecordError when a folder cannot be made.
    """
    return _postgresql(where, wait_s) if is_url(where) else _sqlite(sqlite_file(where), wait_s)


def _sqlite(path: Path, wait_s: float) -> Database:
    """The database in a file, read-only where file or folder may not be written to."""
    try:
        make_private_folder(path.parent)
    except OSError as problem:
        raise RecordError(
            f"{path.parent}: this folder for records cannot be made: {problem.strerror}.",
            "Nothing was measured.",
            "Give another folder with --records.",
        ) from None
    if path.exists() and not is_writable(path):
        return ReadOnlyDatabase(path, wait_s)
    engine = writing_engine(path, wait_s)
    return ReadOnlyDatabase(path, wait_s, engine) if is_only_read() else Database(engine, str(path))


class ReadOnlyDatabase(Database):
    """A store in a file that may only be read; where SQLite cannot read it, a copy is read."""

    def __init__(self, path: Path, wait_s: float, engine: Engine | None = None) -> None:
        """`engine`: for a file that could be written to."""
        self._copy: PrivateCopy | None = None
        self._wait_s = wait_s
        engine = engine or reading_engine(path, wait_s)
        super().__init__(engine or self._engine_of_copy(path), str(path))

    def write(self) -> NoReturn:
        """Raise RecordError: the file may not be written to."""
        raise RecordError(
            f"{self.place}: the record may not be written to.",
            "It can be listed, shown, verified and exported as it is.",
            "Correct the permissions of the file and its folder, or work on a copy.",
        )

    def switch_to_copy(self) -> Engine:
        """Read a private copy from now on; return the engine that can also change that copy."""
        if self._copy is None:
            self.engine.dispose()
            self.engine = self._engine_of_copy(Path(self.place))
        return self.engine

    def close(self) -> None:
        """Close every connection and remove the copy."""
        super().close()
        if self._copy is not None:
            self._copy.remove()

    def _engine_of_copy(self, path: Path) -> Engine:
        """Make the private copy and an engine for it. Raises RecordError where there is no room."""
        try:
            self._copy = PrivateCopy(path)
        except OSError as problem:
            raise RecordError(
                f"{path}: it can only be read from a copy, and that cannot be made: {problem}.",
                "Nothing was changed.",
                "Copy it with its log (the file that ends in -wal) to a folder of yours.",
            ) from None
        return writing_engine(self._copy.path, self._wait_s)


def _postgresql(where: str, wait_s: float) -> Database:
    """The database at a PostgreSQL URL; `wait_s` bounds connecting and waiting for locks."""
    url = _url(where)
    wait_ms = round(1000 * wait_s)
    settings = {
        "synchronous_commit": "on",
        "lock_timeout": wait_ms,
        "statement_timeout": 60_000,
        "idle_in_transaction_session_timeout": 60_000,
    }
    arguments = {
        "connect_timeout": max(2, round(wait_s)),
        "tcp_user_timeout": 2 * wait_ms,
        "options": " ".join(f"-c {name}={value}" for name, value in settings.items()),
    }
    try:
        engine = create_engine(url, connect_args=arguments, pool_pre_ping=True, paramstyle="format")
    except ModuleNotFoundError:
        raise UsageError(
            "Records in PostgreSQL need the package psycopg, which is not installed.",
            do="Install it with: pip install 'ohmwright[postgresql]'",
        ) from None
    return Database(engine, url.render_as_string(hide_password=True))


def _url(where: str) -> URL:
    """The parsed URL with the driver psycopg. Raises UsageError for any other database."""
    try:
        url = make_url(where)
    except ArgumentError:
        url = None
    if url is None or url.get_backend_name() not in ("postgresql", "postgres"):
        raise UsageError(
            f"--records: '{where.split('://')[0]}://…' is no database that records can live in.",
            do="Give postgresql://USER@HOST/DATABASE, or a folder.",
        )
    return url.set(drivername="postgresql+psycopg")
