"""A void that is cut off the ledger again is told by every computer that has read it."""

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from ohmwright.model.shipped import shipped

READERS: tuple[tuple[str, ...], ...] = (
    ("record", "verify"),
    ("record", "show"),
    ("record", "list"),
    ("certificate", "last", "--html", "c.html"),
)


def cut_off_the_last_entry(place: Path) -> None:
    """As by somebody with the file and sqlite3 alone: no key, no hash made anew."""
    connection = sqlite3.connect(place / "records.sqlite", isolation_level=None)
    query = "SELECT sql FROM sqlite_master WHERE name = 'ledger_no_delete'"
    (trigger,) = connection.execute(query).fetchone()
    connection.execute("DROP TRIGGER ledger_no_delete")
    connection.execute("DELETE FROM ledger WHERE number = (SELECT max(number) FROM ledger)")
    connection.execute(trigger)
    connection.close()


@pytest.mark.parametrize("reader", READERS, ids=lambda reader: reader[-1])
def test_a_void_cut_off_again_is_told_where_it_was_read(
    ohmwright: Callable,
    procedure: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    reader: tuple[str, ...],
) -> None:
    place = tmp_path / "r"
    bench = shipped("benches", "demo.toml")
    ohmwright("verify", procedure, "--bench", bench, "--records", place, "--unattended")
    assert ohmwright("record", "void", "last", "--reason", "mixed up", "--records", place).code == 0
    for name in ("DATA", "CONFIG", "STATE"):
        monkeypatch.setenv(f"XDG_{name}_HOME", str(tmp_path / "elsewhere" / name))
    monkeypatch.chdir(tmp_path)
    ohmwright(*reader, "--records", place)
    cut_off_the_last_entry(place)
    assert ohmwright("record", "rebuild", "--records", place).code == 0
    verified = ohmwright("record", "verify", "--records", place)
    assert (verified.code, "older than what this computer has seen" in verified.out) == (6, True)
    paper = ohmwright("certificate", "last", "--html", "d.html", "--records", place)
    assert (paper.code, "older than what this computer has seen" in paper.err) == (6, True)


def test_what_somebody_adds_after_it_was_read_is_no_loss(
    ohmwright: Callable, procedure: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = tmp_path / "r"
    bench = shipped("benches", "demo.toml")
    ohmwright("verify", procedure, "--bench", bench, "--records", place, "--unattended")
    here = {name: f"XDG_{name}_HOME" for name in ("DATA", "CONFIG", "STATE")}
    with monkeypatch.context() as elsewhere:
        for name, variable in here.items():
            elsewhere.setenv(variable, str(tmp_path / "elsewhere" / name))
        assert ohmwright("record", "show", "--records", place).code == 1
    assert ohmwright("record", "void", "last", "--reason", "no", "--records", place).code == 0
    assert ohmwright("record", "verify", "--records", place).code == 0
    with monkeypatch.context() as elsewhere:
        for name, variable in here.items():
            elsewhere.setenv(variable, str(tmp_path / "elsewhere" / name))
        assert ohmwright("record", "verify", "--records", place).code == 4
