"""Runs handed over as lines: whole they are taken in, with any byte changed they are refused."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from ohmwright.model.errors import RecordError, UsageError
from ohmwright.records.audit import audit
from ohmwright.records.chain import BrokenRunError
from ohmwright.records.json_lines import DamagedFileError, read_runs, run_lines
from ohmwright.records.queries import results
from ohmwright.records.run_import import import_run
from ohmwright.records.run_lists import runs
from ohmwright.records.sql_store import SqlStore

from .some_events import finished, point, stage, started, whole_run


@pytest.fixture
def lines(tmp_path: Path, opened: Callable[..., SqlStore]) -> list[bytes]:
    """A finished run and an open one, exported from another store."""
    store = opened(str(tmp_path / "source"), computer="there")
    store.append_all("one", whole_run("one"))
    store.append_all("open", (started("open"), stage()))
    return [line + b"\n" for run in ("one", "open") for line in run_lines(store.stored_run(run))]


def taken(store: SqlStore, lines: list[bytes]) -> list[str]:
    return [import_run(store, run, events) for run, events in list(read_runs(lines, "file"))]


def exported_run(store: SqlStore, run: str) -> list[bytes]:
    return [line + b"\n" for line in run_lines(store.stored_run(run))]


def test_what_is_taken_in_is_what_was_handed_over(store: SqlStore, lines: list[bytes]) -> None:
    store.append("own", started("own"))
    taken(store, lines)
    assert store.events("one") == whole_run("one")
    assert list(audit(store)) == []
    again = [line + b"\n" for run in ("one", "open") for line in run_lines(store.stored_run(run))]
    assert again == lines
    store.append("open", stage(2.0))
    store.append("open", finished())
    assert list(audit(store)) == []
    assert taken(store, lines) == ["there already", "there already"]


def test_every_changed_byte_is_refused(lines: list[bytes]) -> None:
    whole = b"".join(lines)
    for place in range(len(whole) - 1):
        damaged = bytearray(whole)
        damaged[place] ^= 1
        with pytest.raises(DamagedFileError) as caught:
            list(read_runs(bytes(damaged).splitlines(keepends=True), "file"))
        line = whole.count(b"\n", 0, place) + 1
        assert int(caught.value.happened.split(":")[1]) in range(1, len(lines) + 2), line


def test_a_changed_event_is_named_by_its_line(lines: list[bytes]) -> None:
    lines[3] = lines[3].replace(b"81.5", b"80.5")
    with pytest.raises(DamagedFileError, match=r"^records\.jsonl:4: the event does not fit"):
        list(read_runs(lines, "records.jsonl"))


@pytest.mark.parametrize("cut", range(1, 11))
def test_a_cut_tail_is_refused(lines: list[bytes], cut: int) -> None:
    kept = lines[:-cut]
    if kept and b'"seal"' in kept[-1]:
        return  # cut between two runs: what is left is whole
    with pytest.raises(RecordError, match=r"end of the run is missing|no file of records"):
        list(read_runs(kept, "file"))


def test_swapped_lines_are_refused(lines: list[bytes]) -> None:
    lines[2], lines[3] = lines[3], lines[2]
    with pytest.raises(DamagedFileError, match=r"^file:3: the event is missing"):
        list(read_runs(lines, "file"))


def test_a_finished_run_cannot_pass_without_its_seal(lines: list[bytes]) -> None:
    head = json.loads(lines[5])["hash"]
    lines[6] = b'{"open":{"events":5,"head":"%s"}}\n' % head.encode()
    with pytest.raises(DamagedFileError, match="it is finished and has no seal"):
        list(read_runs(lines, "file"))


def test_a_seal_of_another_run_does_not_fit(
    lines: list[bytes], tmp_path: Path, opened: Callable[..., SqlStore]
) -> None:
    other = opened(str(tmp_path / "other"), computer="there")
    other.append_all("one", whole_run("one", asset="HF-2"))
    lines[6] = list(run_lines(other.stored_run("one")))[-1] + b"\n"
    with pytest.raises(
        DamagedFileError, match="file:6: its last hash is not the one that was signed"
    ):
        list(read_runs(lines, "file"))


def test_a_damaged_run_is_not_exported(store: SqlStore) -> None:
    store.append_all("one", whole_run("one"))
    run = store.stored_run("one")
    broken = type(run)(run.run_id, run.opening, run.events[:-1], run.seal)
    with pytest.raises(BrokenRunError):
        list(run_lines(broken))


@pytest.fixture
def lengths(tmp_path: Path, opened: Callable[..., SqlStore]) -> list[list[bytes]]:
    """One run, exported after each of its events but the first."""
    source = opened(str(tmp_path / "bench"), computer="there")
    first, *rest = whole_run("run")
    source.append("run", first)
    made = []
    for event in rest:
        source.append("run", event)
        made.append(exported_run(source, "run"))
    return made


def test_what_follows_on_a_run_that_was_begun_extends_it(
    store: SqlStore, lengths: list[list[bytes]]
) -> None:
    store.append_all("own", whole_run("own"))
    came = [taken(store, lines)[0] for lines in (*lengths, lengths[1], lengths[-1])]
    assert came == ["new", "longer", "longer", "longer", "there already", "there already"]
    assert store.events("run") == whole_run("run")
    assert exported_run(store, "run") == lengths[-1]
    (row,) = [row for row in runs(store.database) if row["run_id"] == "run"]
    assert row["verdict"] == "pass"
    assert len([row for row in results(store.database) if row["run_id"] == "run"]) == 2
    assert list(audit(store)) == []
    with pytest.raises(UsageError, match="finished and sealed"):
        store.append("run", stage())


def test_a_run_goes_to_another_bench_and_comes_back(
    place: str, opened: Callable[..., SqlStore], tmp_path: Path
) -> None:
    here, there = opened(place), opened(str(tmp_path / "away"), computer="there")
    events = whole_run("run")
    here.append_all("run", events[:2])
    taken(there, exported_run(here, "run"))
    for event in events[2:]:
        there.append("run", event)
    here.close()
    again = opened(place)
    assert taken(again, exported_run(there, "run")) == ["longer"]
    assert again.events("run") == events
    assert list(audit(again)) == []


def test_a_fork_is_refused_at_the_first_event_that_differs(
    store: SqlStore, lengths: list[list[bytes]]
) -> None:
    taken(store, lengths[0])
    store.append("run", point("another"))
    for lines in lengths[1:]:
        with pytest.raises(UsageError, match="event 3 is another one"):
            taken(store, lines)
    assert len(store.events("run")) == 3
    assert list(audit(store)) == []


def test_two_runs_of_one_name_are_told_apart(store: SqlStore, lengths: list[list[bytes]]) -> None:
    store.append("run", started("run"))
    with pytest.raises(UsageError, match="opened in two ways"):
        taken(store, lengths[0])
