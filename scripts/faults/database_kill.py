"""Programs killed, databases full, held or stopped, while events are written."""

from __future__ import annotations

import os
import signal
import sqlite3
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

from ohmwright.model.errors import OhmwrightError, RecordError
from ohmwright.records.audit import audit
from ohmwright.records.sql_store import SqlStore, open_store

from .invented import some_run
from .local_postgresql import Server, installed
from .row import Row

_KILLS_A_STORE = 25


@dataclass
class Tally:
    """What went wrong, over all tries."""

    tried: int = 0
    lost: int = 0
    acknowledged: int = 0
    hangs: int = 0

    def row(self, fault: str, note: str) -> Row:
        """As a line of the table."""
        return Row(fault, self.tried, 0, self.lost, 0, self.hangs, note)


def opened(place: str, folder: Path, wait_s: float = 5.0) -> SqlStore:
    """A store as the one computer of this harness opens it."""
    return open_store(place, folder / "key", folder / "witness", wait_s=wait_s)


def killed(seed: int, tries: int, server: Server | None = None) -> Row:
    """A writer killed at any moment; the next one goes on with the run that it left."""
    random, tally = Random(seed), Tally()
    while tally.tried < tries:
        with TemporaryDirectory(prefix="ohmwright-kill-") as folder:
            place = f"{folder}/records" if server is None else server.url()
            opened(place, Path(folder)).close()
            for _ in range(min(_KILLS_A_STORE, tries - tally.tried)):
                _kill_once(place, Path(folder), random, tally)
    kind = "SQLite" if server is None else "PostgreSQL"
    return tally.row(f"SIGKILL during writes, {kind}", f"{tally.acknowledged} acknowledged")


def _kill_once(place: str, folder: Path, random: Random, tally: Tally) -> None:
    tally.tried += 1
    after_s, first_seed = random.uniform(0.0, 0.03), random.randrange(1 << 30)
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reader)
        _write_until_killed(place, folder, writer, first_seed)
    os.close(writer)
    with os.fdopen(reader, "rb") as pipe:
        first = pipe.readline()  # killed once it is under way, and any time after
        time.sleep(after_s)
        os.kill(child, signal.SIGKILL)
        *lines, _torn = (first + pipe.read()).split(b"\n")
    os.waitpid(child, 0)
    tally.acknowledged += len(lines)
    tally.lost += _lost(place, folder, lines)


def _write_until_killed(place: str, folder: Path, pipe: int, seed: int) -> None:
    """Write runs, one event at a time; say each event's hash once `append` has returned."""
    store = opened(place, folder)
    run_ids = store.run_ids()
    with suppress(OhmwrightError):  # the newest may be finished
        if run_ids:
            store.claim(run_ids[-1])
            _go_on(store, run_ids[-1], pipe, Random(seed), started=True)
    for number in range(1000):
        _go_on(store, f"run-{len(run_ids)}-{number}", pipe, Random(seed + number), started=False)
    os._exit(0)


def _go_on(store: SqlStore, run_id: str, pipe: int, random: Random, *, started: bool) -> None:
    for event in list(some_run(run_id, 6, random))[int(started) :]:
        finished = event.kind == "run_finished"
        store.append(run_id, event)
        head = "sealed" if finished else store._ends[run_id].newest.hash.hex()
        os.write(pipe, f"{run_id} {head}\n".encode())


def _lost(place: str, folder: Path, acknowledged: list[bytes]) -> int:
    """Acknowledged events that are not there, and findings of the audit."""
    store = opened(place, folder)
    try:
        there = {
            (run_id, one.hash.hex())
            for run_id in {line.decode().split()[0] for line in acknowledged}
            for one in store.stored_run(run_id).events
        }
        pairs = [tuple(line.decode().split()) for line in acknowledged]
        lost = sum(head not in ("sealed",) and (run, head) not in there for run, head in pairs)
        unsealed = sum(
            head == "sealed" and store.stored_run(run).seal is None for run, head in pairs
        )
        return lost + unsealed + _wrong(store)
    finally:
        store.close()


def stopped(seed: int, tries: int, server: Server) -> Row:
    """The server crashes between two events or under one; the run goes on once it is back."""
    random, tally = Random(seed), Tally()
    with TemporaryDirectory(prefix="ohmwright-stop-") as folder:
        store = opened(server.url(), Path(folder))
        for number in range(tries):
            run_id, tally.tried = f"run-{number}", tally.tried + 1
            events = list(some_run(run_id, 6, random))
            crash_at = random.randrange(1, len(events) - 1)
            for event in events[:crash_at]:
                store.append(run_id, event)
            server.stop()
            tally.lost += not _refused(store, run_id, events[crash_at])
            server.start()
            for event in events[crash_at:]:
                store.append(run_id, event)
            tally.acknowledged += len(events)
            tally.lost += store.events(run_id) != tuple(events)
        tally.lost += _wrong(store)
        store.close()
    return tally.row("PostgreSQL crashes in mid-run", "refused, then resumed each time")


def full(seed: int, tries: int) -> Row:
    """No room for one more page, at every size; the run goes on once there is."""
    random, tally = Random(seed), Tally()
    with TemporaryDirectory(prefix="ohmwright-full-") as folder:
        store = opened(f"{folder}/records", Path(folder))
        for number in range(tries):
            run_id, tally.tried = f"run-{number}", tally.tried + 1
            _pages(store, 1 + random.randrange(3), relative=True)
            kept, refused = 0, 0
            for event in some_run(run_id, 8, random, samples=100):
                try:
                    store.append(run_id, event)
                except RecordError as error:
                    refused += "no room" in error.happened
                    _pages(store, 1 << 30)
                    store.append(run_id, event)
                kept += 1
            tally.acknowledged += kept
            tally.lost += kept - len(store.events(run_id)) + (refused == 0)
        tally.lost += _wrong(store)
        store.close()
    return tally.row("disk full (page limit)", f"{tally.acknowledged} acknowledged")


def full_disk(seed: int) -> Row:
    """A disk of 1 MB, really full; the run goes on once there is room."""
    random, tally = Random(seed), Tally(tried=1)
    with TemporaryDirectory(prefix="ohmwright-disk-") as folder:
        disk = Path(folder) / "disk"
        disk.mkdir()
        if os.geteuid() != 0 or os.system(f"mount -t tmpfs -o size=1m none {disk} 2>/dev/null"):
            return Row("disk full (tmpfs of 1 MB)", 0, 0, 0, 0, 0, "needs root and mount: not run")
        try:
            store = opened(str(disk / "records"), Path(folder))
            kept = []
            with suppress(RecordError):
                for event in some_run("run", 3000, random):
                    store.append("run", event)
                    kept.append(event)
            tally.acknowledged = len(kept)
            tally.lost = kept != list(store.events("run"))
            os.system(f"mount -o remount,size=4m {disk}")
            store.append("run", kept[-1])
            tally.lost += _wrong(store) + (len(store.events("run")) != len(kept) + 1)
            store.close()
        finally:
            os.system(f"umount {disk}")
    return tally.row("disk full (tmpfs of 1 MB)", f"{tally.acknowledged} acknowledged")


def held(seed: int, tries: int) -> Row:
    """Another program holds the database; the run goes on once it lets go."""
    random, tally = Random(seed), Tally()
    with TemporaryDirectory(prefix="ohmwright-held-") as folder:
        store = opened(f"{folder}/records", Path(folder), wait_s=0.02)
        other = sqlite3.connect(f"{folder}/records/records.sqlite", isolation_level=None)
        for number in range(tries):
            tally.tried += 1
            events = list(some_run(f"run-{number}", 3, random))
            for event in events:
                other.execute("BEGIN IMMEDIATE")
                tally.lost += not _refused(store, f"run-{number}", event)
                other.execute("ROLLBACK")
                store.append(f"run-{number}", event)
            tally.lost += store.events(f"run-{number}") != tuple(events)
        tally.lost += _wrong(store)
        other.close()
        store.close()
    return tally.row("database held by another", "refused, then resumed each time")


def rows(seed: int, *, reduced: bool) -> Iterator[Row]:
    """Every row of this file."""
    yield killed(seed, 50 if reduced else 1000)
    yield full(seed, 5 if reduced else 100)
    yield full_disk(seed)
    yield held(seed, 3 if reduced else 50)
    programs = installed()
    if programs is None:
        yield Row("PostgreSQL", 0, 0, 0, 0, 0, "not installed: not run")
        return
    server = Server(programs)
    try:
        yield killed(seed, 10 if reduced else 200, server)
        yield stopped(seed, 2 if reduced else 20, server)
    finally:
        server.remove()


def _wrong(store: SqlStore) -> int:
    """How much is wrong; a commit whose end nobody saw is no loss."""
    return sum(finding.kind == "wrong" for finding in audit(store))


def _refused(store: SqlStore, run_id: str, event: object) -> bool:
    try:
        store.append(run_id, event)  # type: ignore[arg-type]
    except RecordError:
        return True
    return False


def _pages(store: SqlStore, count: int, *, relative: bool = False) -> None:
    with store.database.write() as connection:
        now = connection.exec_driver_sql("PRAGMA page_count").scalar_one()
        limit = now + count if relative else count
        connection.exec_driver_sql(f"PRAGMA max_page_count = {limit}")
