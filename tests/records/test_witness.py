"""What was about to be written, and is not there."""

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from ohmwright.model.errors import RecordError
from ohmwright.model.event import Event
from ohmwright.records.audit import audit
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
        for name in ("note_committed_event", "note_committed_entry", "drop_run"):
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
