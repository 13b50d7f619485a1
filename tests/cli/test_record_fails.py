"""The record fails in the middle of a run: a clear error, RF off, and the run resumes."""

import sqlite3
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from ohmwright.api import open_bench, open_records
from ohmwright.model.event import ActivationClosed, Event
from ohmwright.model.shipped import shipped
from ohmwright.records.sql_store import SqlStore, open_store
from ohmwright.simulator.bench import SimulatedBench

DEMO_BENCH = shipped("benches", "demo.toml")


class Broken:
    """Breaks the record once, at the first event after an activation."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, break_it: Callable[[SqlStore], None]):
        self.hardware: list[SimulatedBench] = []
        self._break, self._append = break_it, SqlStore.append
        monkeypatch.setattr(SqlStore, "append", lambda *given: self._on_append(*given))
        monkeypatch.setattr(open_bench, "SimulatedBench", self._bench)
        monkeypatch.setattr(open_records, "open_store", partial(open_store, wait_s=0.2))

    def _on_append(self, store: SqlStore, run_id: str, event: Event) -> None:
        if isinstance(event, ActivationClosed) and len(self.hardware) == 1:
            self._break(store)
        self._append(store, run_id, event)

    def _bench(self, *given: Any, **named: Any) -> SimulatedBench:
        self.hardware.append(SimulatedBench(*given, **named))
        return self.hardware[-1]


@pytest.fixture
def breaks_off(
    ohmwright: Callable, procedure: Path, monkeypatch: pytest.MonkeyPatch
) -> Callable[..., None]:
    """A run whose record fails, is mended, and goes on."""

    def check(
        place: str, break_it: Callable[[SqlStore], None], mend: Callable[[], None], says: str
    ) -> None:
        broken = Broken(monkeypatch, break_it)
        arguments = ("--bench", DEMO_BENCH, "--records", place, "--unattended", "--json")
        failed = ohmwright("verify", procedure, *arguments)
        assert failed.code == 6, failed.err
        assert says in failed.err
        assert "Traceback" not in failed.err
        on = broken.hardware[0].truth.rf_on_intervals
        assert len(on) in (1, 2, 3)  # the proofs of OFF and limit, too
        assert not broken.hardware[0].truth.rf_on
        mend()
        (run,) = ohmwright("record", "list", "--records", place, "--json").json
        assert run["verdict"] == "unfinished"
        resumed = ohmwright("verify", procedure, "--resume", run["run"], *arguments)
        assert [r["point"] for r in resumed.json["results"]] == ["100 ohm", "500 ohm"]
        assert resumed.code == 1
        assert ohmwright("record", "verify", "--records", place).code == 0

    return check


def test_another_program_holds_the_database(breaks_off: Callable, tmp_path: Path) -> None:
    held = []

    def hold(_: SqlStore) -> None:
        held.append(sqlite3.connect(tmp_path / "records.sqlite", isolation_level=None))
        held[0].execute("BEGIN IMMEDIATE")

    breaks_off(str(tmp_path), hold, lambda: held[0].close(), "another program holds the record")


def test_the_disk_is_full(breaks_off: Callable, tmp_path: Path) -> None:
    def fill(store: SqlStore) -> None:
        with store.database.write() as connection:
            connection.exec_driver_sql("PRAGMA max_page_count = 1")  # means: no page more

    breaks_off(str(tmp_path), fill, lambda: None, "there is no room left")


def test_postgresql_is_stopped(breaks_off: Callable, server: Any) -> None:
    breaks_off(server.url(), lambda _: server.stop(), server.start, "the database failed")
