"""What was about to be written, and is not there."""

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from ohmwright.model.errors import RecordError, UsageError
from ohmwright.model.event import Event
from ohmwright.records.audit import audit
from ohmwright.records.run_import import import_run
from ohmwright.records.sql_store import SqlStore
from ohmwright.records.witness import Witness

from .some_events import finished, point, stage, started, whole_run


class Killed(BaseException):
    """The program ends here."""


def killed_between_commit_and_witness(
    store: SqlStore, run: str, event: Event, monkeypatch: pytest.MonkeyPatch
) -> None:
    def killed(*_: object) -> None:
        raise Killed

    with monkeypatch.context() as patched:
        for name in ("note_committed_event", "note_committed_entry", "note_end"):
            patched.setattr(Witness, name, killed)
        with pytest.raises(Killed):
            store.append(run, event)


def put_back(files: dict[Path, bytes]) -> None:
    for path, content in files.items():
        path.write_bytes(content)
        path.chmod(0o600)


@pytest.mark.parametrize(
    ("event", "says"),
    [(point(), "run run, event 3: the event was about"), (finished(), "entry 2 of the ledger was")],
)
def test_the_last_event_lost_with_the_log_is_named(
    event: Event,
    says: str,
    opened: Callable[..., SqlStore],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Committed, the program killed before the witness knew, then the log damaged."""
    file = tmp_path / "r.sqlite"
    store = opened(str(file))
    store.append_all("run", (started("run"), stage()))
    before = {path: path.read_bytes() for path in tmp_path.glob("r.sqlite*")}
    killed_between_commit_and_witness(store, "run", event, monkeypatch)
    assert list(audit(store)) == []  # it is there
    store.close()
    put_back(before)
    (found,) = audit(opened(str(file)))
    assert (found.kind, says in str(found)) == ("unknown", True)
    resumed = opened(str(file))
    for later in whole_run("run")[2:]:
        resumed.append("run", later)
    assert list(audit(resumed)) == []


def test_a_loss_of_what_was_acknowledged_is_no_doubt(
    opened: Callable[..., SqlStore], tmp_path: Path
) -> None:
    file = tmp_path / "r.sqlite"
    store = opened(str(file))
    store.append_all("run", (started("run"), stage()))
    before = {path: path.read_bytes() for path in tmp_path.glob("r.sqlite*")}
    store.append("run", point())
    store.close()
    put_back(before)
    store = opened(str(file))
    (found,) = audit(store)
    assert (found.kind, str(found).startswith("run run, event 3:")) == ("wrong", True)
    with pytest.raises(RecordError, match="has seen"):
        store.append("run", point())


def test_what_another_program_is_writing_now_is_no_loss(
    store: SqlStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    store.append("run", started("run"))
    witness = Witness(store.witness.folder)
    (file,) = [one for one in store.witness.read_files() if one.committed.run_id]
    coming = type(file.committed)(2, b"x" * 32, "run")
    monkeypatch.setattr(os, "getpid", os.getppid)  # a process that lives
    witness.note_intended_event(1, file.committed, coming)
    monkeypatch.undo()
    assert list(audit(store)) == []
    monkeypatch.setattr(os, "getpid", lambda: 4_000_000_000)  # one that does not
    witness.note_intended_event(1, file.committed, coming)
    monkeypatch.undo()
    assert [found.kind for found in audit(store)] == ["unknown"]
    witness.close()


def test_witness_files_of_before_there_were_intents_are_read(
    opened: Callable[..., SqlStore], tmp_path: Path
) -> None:
    store = opened(str(tmp_path / "r.sqlite"))
    store.append_all("run", (started("run"), stage()))
    store.close()
    for path in store.witness.folder.iterdir():
        path.write_text(path.read_text().splitlines(keepends=True)[0])
    store = opened(str(tmp_path / "r.sqlite"))
    assert list(audit(store)) == []
    store.append("run", point())
    store.append_all("two", whole_run("two"))
    assert list(audit(store)) == []


def rewritten(run: str) -> tuple[Event, ...]:
    """A run with one value made better."""
    events = list(whole_run(run))
    events[2] = point(value=80.1)
    return tuple(events)


def test_a_rewritten_run_in_a_new_store_is_told(
    place: str, opened: Callable[..., SqlStore], tmp_path: Path
) -> None:
    """The same key, every hash, the ledger and the seal anew, under another name of the store."""
    honest, forged = opened(place), opened(str(tmp_path / "forged"))
    honest.append_all("run", whole_run("run"))
    knows = forged.witness
    forged.witness = Witness(tmp_path / "knows" / "nothing")
    forged.append_all("run", rewritten("run"))
    forged.witness.close()
    forged.witness = knows
    (found,) = audit(forged)
    assert (found.kind, "has seen it end with another hash" in str(found)) == ("wrong", True)
    assert list(audit(honest)) == []


def test_a_shorter_forgery_is_told_and_an_older_copy_is_not(
    tmp_path: Path, opened: Callable[..., SqlStore]
) -> None:
    opened(str(tmp_path / "r")).append_all("run", whole_run("run"))
    copies = [opened(str(tmp_path / name), name) for name in ("older", "shorter")]
    copies[0].append_all("run", whole_run("run")[:-1])
    copies[1].append_all("run", (*whole_run("run")[:-2], finished()))
    found = []
    for copy in copies:
        copy.witness = Witness(tmp_path / "here" / "witness" / copy.store_id)
        found.append([one.what for one in audit(copy)])
    assert (found[0], len(found[1])) == ([], 1)


def test_what_ended_otherwise_before_is_not_imported(
    tmp_path: Path, opened: Callable[..., SqlStore]
) -> None:
    opened(str(tmp_path / "r")).append_all("run", whole_run("run"))
    forged = opened(str(tmp_path / "forged"), "elsewhere")
    forged.append_all("run", rewritten("run"))
    kept = forged.stored_run("run")
    with pytest.raises(UsageError, match="ends otherwise in the file than this computer"):
        import_run(opened(str(tmp_path / "new")), kept, rewritten("run"))


def test_a_torn_line_about_an_end_accuses_nobody(
    tmp_path: Path, opened: Callable[..., SqlStore]
) -> None:
    store = opened(str(tmp_path / "r"))
    store.append_all("one", whole_run("one"))
    with store.witness.ends.path.open("a") as file:
        file.write("5 00ab")
    store.append_all("two", whole_run("two"))
    assert list(audit(store)) == []
    assert set(store.witness.ends.first()) == {"one", "two"}


def test_other_records_in_the_place_of_those_that_were_seen_are_named(
    opened: Callable[..., SqlStore], tmp_path: Path
) -> None:
    place, away = tmp_path / "r.sqlite", tmp_path / "away"
    store = opened(str(place))
    for event in whole_run("failed"):
        store.append("failed", event)
    newest = store.newest_entry()
    assert list(audit(store)) == []
    store.close()
    away.mkdir()
    for file in tmp_path.glob("r.sqlite*"):
        file.rename(away / file.name)

    other = opened(str(place))
    for event in whole_run("passed"):
        other.append("passed", event)
    (found,) = audit(other)
    assert found.kind == "warning"
    assert f"newest entry {newest.number}, hash {newest.short}" in str(found)
    assert list(audit(opened(str(away / "r.sqlite")))) == []


def test_who_only_reads_other_records_in_a_place_is_told_too(
    opened: Callable[..., SqlStore], tmp_path: Path
) -> None:
    place, copy = tmp_path / "r.sqlite", tmp_path / "copy.sqlite"
    for file, run in ((place, "failed"), (copy, "passed")):
        store = opened(str(file))
        for event in whole_run(run):
            store.append(run, event)
        store.close()
    for file in tmp_path.glob("r.sqlite*"):
        file.unlink()
    copy.rename(place)
    store = opened(str(place))
    for _ in range(2):  # also once it was seen here itself
        assert [found.kind for found in audit(store)] == ["warning"]
        store.remember_ledger()
