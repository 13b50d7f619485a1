"""Folders of its own for every test; a real PostgreSQL for those that ask for one."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings
from local_postgresql import Server, installed

# no test is timed: the machine may be busy
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")


@pytest.fixture(autouse=True)
def _own_user_folders(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where a user has data, keys and the memory of records."""
    home: Path = tmp_path_factory.mktemp("home")
    for name in ("DATA", "CONFIG", "STATE"):
        monkeypatch.setenv(f"XDG_{name}_HOME", str(home / name.lower()))
    monkeypatch.delenv("OHMWRIGHT_RECORDS", raising=False)


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    programs = installed()
    if programs is None:
        pytest.skip("PostgreSQL is not installed (Debian's package postgresql)")
    server = Server(programs)
    yield server
    server.remove()
