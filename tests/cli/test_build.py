"""Which commit runs, by what the installation says of itself."""

import json
from collections.abc import Callable
from pathlib import Path
from shutil import which
from subprocess import run
from unittest.mock import Mock

import pytest

from ohmwright.cli import build


@pytest.mark.parametrize(
    ("origin", "said"),
    [
        ({"url": "u", "vcs_info": {"vcs": "git", "commit_id": "5ec6e7ba"}}, "5ec6e7ba"),
        ({"url": "file:///nowhere", "dir_info": {"editable": True}}, "unknown"),
        ({"url": "file:///nowhere", "dir_info": {}}, "unknown"),  # it may have moved on since
        (None, "unknown"),
    ],
)
def test_a_commit_is_told_where_the_installation_names_one(
    monkeypatch: pytest.MonkeyPatch, origin: object, said: str
) -> None:
    text = None if origin is None else json.dumps(origin)
    monkeypatch.setattr(build, "distribution", lambda _: Mock(read_text=lambda _: text))
    assert build.build_commit() == said


@pytest.mark.skipif(which("git") is None, reason="git is not installed")
def test_a_checkout_in_use_tells_its_own(ohmwright: Callable) -> None:
    git = ("git", "-C", str(Path(__file__).parent), "rev-parse", "HEAD")
    head = run(git, capture_output=True, text=True, check=False).stdout
    told = ohmwright("--version").out.split("commit ")[1].strip().removesuffix("-dirty")
    assert told == "unknown" or head.startswith(told)
