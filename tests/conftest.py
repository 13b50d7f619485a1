"""Every test has folders of its own where a user has data, keys and memory of records."""

from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def _own_user_folders(tmp_path_factory: pytest.TempPathFactory, monkeypatch) -> None:
    home: Path = tmp_path_factory.mktemp("home")
    for name in ("DATA", "CONFIG", "STATE"):
        monkeypatch.setenv(f"XDG_{name}_HOME", str(home / name.lower()))
    monkeypatch.delenv("OHMWRIGHT_RECORDS", raising=False)
