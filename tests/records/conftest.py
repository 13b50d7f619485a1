"""A store in SQLite and in a real PostgreSQL: every test of a store runs on both."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from ohmwright.records.sql_store import SqlStore, open_store
from scripts.faults.local_postgresql import Server


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where an empty store can be made."""
    if request.param == "sqlite":
        return str(tmp_path / "records")
    server: Server = request.getfixturevalue("server")
    return server.url()


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[Callable[..., SqlStore]]:
    """Opens stores as one computer with one operator would, and closes them."""
    stores = []

    def open_(place: str, computer: str = "here", **options: Any) -> SqlStore:
        folder = tmp_path / computer
        store = open_store(place, folder / "operator.key", folder / "witness", **options)
        stores.append(store)
        return store

    yield open_
    for store in stores:
        store.close()


@pytest.fixture
def store(place: str, opened: Callable[..., SqlStore]) -> SqlStore:
    return opened(place)
