"""A small store damaged in every way: each is refused, named, or leaves the content as it was."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from itertools import combinations
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

from ohmwright.model.errors import OhmwrightError
from ohmwright.records.audit import audit, has_head
from ohmwright.records.run_lists import runs
from ohmwright.records.signed_contents import signatures
from ohmwright.records.sql_store import SqlStore, open_store
from ohmwright.records.tables import LEASES, METADATA

from .invented import some_run
from .row import Row

_HANG_S = 120
NAME = "records.sqlite"


class Hung(Exception):  # noqa: N818
    """Nothing came back in time."""


class Small:
    """A small store, whole: two finished runs and an open one; its files and its content."""

    def __init__(self, folder: Path, seed: int, *, checkpointed: bool = True) -> None:
        self.folder, self.work = folder, folder / "work"
        self.work.mkdir()
        random = Random(seed)
        store = self.opened()
        self.heads = []
        for run_id in ("one", "two"):
            store.append_all(run_id, list(some_run(run_id, 3, random)))
            self.heads.append(store.head(run_id))
        for event in list(some_run("open", 2, random))[:-1]:
            store.append("open", event)
        self.content = _content(store)
        copied = folder / "as-written"
        if checkpointed:
            store.close()
            shutil.copytree(self.work, copied)
        else:
            shutil.copytree(self.work, copied)
            store.close()
        self.files = {path.name: path.read_bytes() for path in copied.iterdir()}
        assert self.with_file(NAME, self.files[NAME]) == "same", "undamaged, yet not whole"

    def opened(self) -> SqlStore:
        """The store in the work folder."""
        place = str(self.work / NAME)
        return open_store(place, self.folder / "key", self.folder / "witness")

    def with_file(self, name: str, content: bytes) -> str:
        """What comes of the store with one file replaced: refused, named, same or undetected."""
        for path in self.work.iterdir():
            path.unlink()
        for other, whole in self.files.items():
            if not other.endswith("-shm"):
                (self.work / other).write_bytes(content if other == name else whole)
        return self.outcome()

    def outcome(self) -> str:
        """What the store as it lies there is taken for."""
        try:
            with _in_time():
                store = self.opened()
                try:
                    if any(finding.kind == "wrong" for finding in audit(store)):
                        _read_all(store)
                        return "named"
                    return "same" if _content(store) == self.content else "undetected"
                finally:
                    store.close()
        except OhmwrightError:
            return "refused"
        except Hung:
            return "hung"
        except Exception as problem:  # a traceback tells a person nothing
            return f"undetected: {problem!r}"


def rows(seed: int, *, reduced: bool) -> Iterator[Row]:
    """Every row of this file."""
    with TemporaryDirectory(prefix="ohmwright-damage-", dir=_memory()) as name:
        small = Small(Path(name), seed)
        yield _flips("each byte of a store flipped", small, NAME, seed, 1999 if reduced else 1)
        yield _cuts(small, 128 if reduced else 1)
        yield _swaps(small, reduced=reduced)
    with TemporaryDirectory(prefix="ohmwright-damage-", dir=_memory()) as name:
        small = Small(Path(name), seed, checkpointed=False)
        step = 7993 if reduced else 7
        yield _flips("bytes of its log flipped", small, f"{NAME}-wal", seed, step)
    with TemporaryDirectory(prefix="ohmwright-damage-", dir=_memory()) as name:
        yield from _older(Path(name), seed)


def _flips(fault: str, small: Small, name: str, seed: int, step: int) -> Row:
    random, outcomes = Random(seed), _Outcomes()
    whole = small.files[name]
    for place in range(0, len(whole), step):
        damaged = bytearray(whole)
        mask = random.randrange(1, 256)
        damaged[place] ^= mask
        outcomes.add(small.with_file(name, bytes(damaged)), f"{name}[{place}] ^ {mask}")
    return outcomes.row(fault)


def _cuts(small: Small, step: int) -> Row:
    outcomes = _Outcomes()
    whole = small.files[NAME]
    for length in range(0, len(whole), 512 * step):
        outcomes.add(small.with_file(NAME, whole[:length]), f"cut to {length}")
    return outcomes.row("tail of the file cut")


def _swaps(small: Small, *, reduced: bool) -> Row:
    """Rows change places in every table, and events are taken out, all triggers put back."""
    outcomes = _Outcomes()
    events = [("events", ("body",)), ("events", ("hash",)), ("events", ("body", "hash"))]
    others = [("ledger", ("document",)), ("ledger", ("document", "hash")), ("runs", ("opening",))]
    others += [("results", ("value", "verdict")), ("runs", ("run_id",)), ("runs", ("asset", "at"))]
    others += [("tallies", ("passed", "errors_ppm")), ("newest_runs", ("run_id", "at"))]
    for table, columns in events + others:
        rowids = _keys(small, table)
        pairs = list(combinations(rowids, 2))
        for one, other in pairs[:: 59 if reduced else 1]:
            changed = _changed(small, _swap(table, columns, one, other))
            if changed is not None:
                outcomes.add(small.with_file(NAME, changed), f"{table} {columns} {one} {other}")
    for key in _keys(small, "events"):
        cut = [f"DELETE FROM events WHERE {key}"]
        changed = _changed(small, cut)
        assert changed is not None
        outcomes.add(small.with_file(NAME, changed), f"{cut}")
    return outcomes.row("rows swapped or taken out")


def _keys(small: Small, table: str) -> list[str]:
    keys = [column.name for column in METADATA.tables[table].primary_key]
    found = _direct(small, f"SELECT {', '.join(keys)} FROM {table}")
    return [" AND ".join(f"{k} = {v!r}" for k, v in zip(keys, row, strict=True)) for row in found]


def _direct(small: Small, query: str) -> list[tuple[object, ...]]:
    for path in small.work.iterdir():
        path.unlink()
    (small.work / NAME).write_bytes(small.files[NAME])
    connection = sqlite3.connect(small.work / NAME)
    try:
        return connection.execute(query).fetchall()
    finally:
        connection.close()


def _swap(table: str, columns: tuple[str, ...], one: str, other: str) -> list[str]:
    names = ", ".join(columns)
    return [
        f"CREATE TEMP TABLE spare AS SELECT {names} FROM {table} WHERE {one}",
        *(["DROP INDEX runs_by_name"] if "run_id" in columns else []),
        f"UPDATE {table} SET ({names}) = (SELECT {names} FROM {table} WHERE {other}) WHERE {one}",
        f"UPDATE {table} SET ({names}) = (SELECT {names} FROM spare) WHERE {other}",
        *(["CREATE UNIQUE INDEX runs_by_name ON runs (run_id)"] if "run_id" in columns else []),
    ]


def _changed(small: Small, statements: list[str]) -> bytes | None:
    """The file after statements that went round the triggers; None when nothing changed."""
    triggers = _direct(small, "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
    path = small.work / NAME
    path.write_bytes(small.files[NAME])
    connection = sqlite3.connect(path, isolation_level=None)
    before = list(connection.iterdump())
    for name, _ in triggers:
        connection.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        connection.execute(statement)
    connection.execute("DROP TABLE IF EXISTS spare")
    for _, sql in triggers:
        connection.execute(str(sql))
    same = list(connection.iterdump()) == before
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    return None if same else path.read_bytes()


def _older(folder: Path, seed: int) -> Iterator[Row]:
    """Every older copy put back: told by the witness, or by the hash on a certificate."""
    small_folder = folder / "small"
    small_folder.mkdir()
    copies, heads = [], []
    place = small_folder / "work" / NAME
    random = Random(seed)
    for run_id in ("one", "two", "three"):
        for event in some_run(run_id, 3, random):
            store = open_store(str(place), small_folder / "key", small_folder / "witness")
            store.append(run_id, event)
            head = store.head(run_id)
            store.close()
            copies.append(place.read_bytes())
            heads.append(head)
    by_witness, by_head = _Outcomes(), _Outcomes()
    for number, copy in enumerate(copies[:-1]):
        place.write_bytes(copy)
        store = open_store(str(place), small_folder / "key", small_folder / "witness")
        wrong = any(finding.kind == "wrong" for finding in audit(store))
        by_witness.add("named" if wrong else "undetected", f"copy {number}")
        by_head.add("undetected" if has_head(store, heads[-1]) else "named", f"copy {number}")
        store.close()
    yield by_witness.row("older copy restored: witness file")
    yield by_head.row("older copy restored: hash on the certificate")


class _Outcomes:
    """How often each thing came of it."""

    def __init__(self) -> None:
        self._count = dict.fromkeys(("refused", "named", "same", "undetected", "hung"), 0)
        self._replays: list[str] = []

    def add(self, outcome: str, replay: str) -> None:
        """Count one; keep how to do it again where it went wrong."""
        kind, _, what = outcome.partition(":")
        self._count[kind] += 1
        if kind in ("undetected", "hung"):
            self._replays.append(f"{replay}{what}")

    def row(self, fault: str) -> Row:
        """As a line of the table."""
        count = self._count
        note = f"refused {count['refused']}, named {count['named']}, same content {count['same']}"
        undetected, hung = count["undetected"], count["hung"]
        replays = tuple(self._replays[:20])
        return Row(fault, sum(count.values()), 0, 0, undetected, hung, note, replays)


def _read_all(store: SqlStore) -> None:
    """Read a damaged store by every other way: each may refuse, none may fail otherwise."""
    for read in (
        lambda: runs(store.database),
        store.run_ids,
        lambda: list(signatures(store.database)),
    ):
        with suppress(OhmwrightError):
            read()
    for run_id in ("one", "two", "open"):
        with suppress(OhmwrightError):
            store.events(run_id)


def _content(store: SqlStore) -> object:
    """Every row of every table but the leases, which say nothing of what was measured."""
    with store.database.read() as connection:
        return [
            sorted(map(repr, connection.execute(table.select())))
            for table in METADATA.tables.values()
            if table is not LEASES
        ]


@contextmanager
def _in_time() -> Iterator[None]:
    def hung(*_: object) -> None:
        raise Hung

    before = signal.signal(signal.SIGALRM, hung)
    signal.alarm(_HANG_S)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def _memory() -> str | None:
    return "/dev/shm" if os.path.isdir("/dev/shm") else None  # noqa: PTH112
