"""What `record list`, `show`, `fleet` and `export` print of records that somebody else made."""

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest

from ohmwright.api.paths import operator_key_file, witness_folder
from ohmwright.model.event import Event, PointDone, RunFinished, RunStarted
from ohmwright.model.shipped import shipped
from ohmwright.records.sql_store import open_store

HOSTILE = "HF\x1b[2J\u202e7"
PLAIN = "HF‹U+001B›[2J‹U+202E›7"


@pytest.fixture
def finished(ohmwright: Callable, procedure: Path, tmp_path: Path) -> tuple[Event, ...]:
    """The events of a run, measured on the demo bench."""
    place = tmp_path / "measured"
    bench = shipped("benches", "demo.toml")
    ohmwright("verify", procedure, "--bench", bench, "--records", place, "--unattended")
    with open_store(str(place), operator_key_file(), witness_folder()) as store:
        return store.events(store.run_ids()[0])


def renamed(event: Event) -> Event:
    """The event with hostile characters in every name that a table shows."""
    if isinstance(event, RunStarted):
        asset = event.asset.model_copy(update={"id": HOSTILE, "model": HOSTILE, "serial": HOSTILE})
        names = dict.fromkeys(("run_id", "procedure", "analyzer", "operator"), HOSTILE)
        return event.model_copy(update={"asset": asset} | names)
    if isinstance(event, PointDone):
        names = dict.fromkeys(("step", "point", "reason", "setting_told_by"), HOSTILE)
        return event.model_copy(update={"result": event.result.model_copy(update=names)})
    return event


def test_no_character_of_a_name_acts_on_the_terminal(
    ohmwright: Callable,
    finished: tuple[Event, ...],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("COLUMNS", "400")
    place = tmp_path / "hostile"
    with open_store(str(place), operator_key_file(), witness_folder()) as store:
        store.append_all(HOSTILE, tuple(map(renamed, finished)))
    for command in (("list",), ("show",), ("show", "--budgets"), ("fleet",)):
        printed = ohmwright("record", *command, "--records", place).out
        assert PLAIN in printed, command
        assert "\x1b" not in printed, command
        assert "\u202e" not in printed, command


@pytest.mark.parametrize(
    "command",
    ["record list", "record show", "record fleet", "record export", "worklist", "campaign list"],
)
def test_a_store_that_lost_a_run_says_so_when_it_is_read(
    ohmwright: Callable, finished: tuple[Event, ...], tmp_path: Path, command: str
) -> None:
    place = tmp_path / "measured"
    to = ("before.jsonl", "after.jsonl") if command.endswith("export") else ()
    before = ohmwright(*command.split(), *(tmp_path / name for name in to[:1]), "--records", place)
    assert "Warning" not in before.err
    older = {path: path.read_bytes() for path in place.glob("records.sqlite*")}
    later = [event.model_copy(update={"at": event.at + timedelta(days=1)}) for event in finished]
    with open_store(str(place), operator_key_file(), witness_folder()) as store:
        first = later[0].model_copy(update={"run_id": "later"})
        store.append_all("later", (first, *later[1:]))
    for path in place.glob("records.sqlite*"):
        path.unlink()
    for path, content in older.items():
        path.write_bytes(content)
    read = ohmwright(*command.split(), *(tmp_path / name for name in to[1:]), "--records", place)
    assert read.code == (1 if command == "record show" and _failed(finished) else 0)
    assert "Warning: store: entry 4 of the ledger" in " ".join(read.err.split())
    assert "older than what this computer has seen" in " ".join(read.err.split())
    assert "record verify" in read.err


def _failed(events: tuple[Event, ...]) -> bool:
    last = events[-1]
    return isinstance(last, RunFinished) and last.verdict == "fail"
