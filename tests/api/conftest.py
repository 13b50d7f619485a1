"""The shipped simulated bench, and places for what programs keep."""

from pathlib import Path

import pytest

from ohmwright.model.shipped import shipped


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@pytest.fixture
def bench_file() -> Path:
    return shipped("benches", "demo.toml")


@pytest.fixture
def records(tmp_path: Path) -> str:
    return str(tmp_path / "records")
