"""Folders of its own for every test; a real PostgreSQL for those that ask for one."""

import os
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from ohmwright.records import migrate
from scripts.faults.local_postgresql import Server, installed

from .made_tables import make_tables

ROOT = Path(__file__).resolve().parent.parent


def heed_signals() -> None:
    """Have signals act as at a terminal: a script's `&` starts programs that ignore SIGINT."""
    signal.signal(signal.SIGINT, signal.default_int_handler)
    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_DFL)


heed_signals()
# no test is timed: the machine may be busy
settings.register_profile("untimed", deadline=None)
settings.register_profile("read-only", deadline=None, database=None)
settings.load_profile("untimed" if os.access(ROOT, os.W_OK) else "read-only")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the fault harness: one of its parts begun last would keep one core busy alone."""
    items.sort(key=lambda item: "faults" not in item.path.parts)


@pytest.fixture(autouse=True)
def _own_user_folders(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where a user has data, keys and the memory of records."""
    home: Path = tmp_path_factory.mktemp("home")
    for name in ("DATA", "CONFIG", "STATE"):
        monkeypatch.setenv(f"XDG_{name}_HOME", str(home / name.lower()))
    monkeypatch.delenv("OHMWRIGHT_RECORDS", raising=False)
    monkeypatch.setenv("OHMWRIGHT_LOCKS", str(home / "locks"))


@pytest.fixture(autouse=True)
def _tables_made_once(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """But where the store itself is tested."""
    if "records" not in request.path.parts:
        monkeypatch.setattr(migrate, "run_migrations", make_tables)


@pytest.fixture(autouse=True)
def _own_signals() -> Iterator[None]:
    """A stopped run leaves its signals ignored to the end of the program; children inherit that."""
    yield
    heed_signals()


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    programs = installed()
    if programs is None:
        pytest.skip("PostgreSQL is not installed (Debian's package postgresql)")
    server = Server(programs)
    yield server
    server.remove()
