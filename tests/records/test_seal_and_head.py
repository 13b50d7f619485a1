"""A seal is of one run by its name, and what was imported stays what it was."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from ohmwright.model.event import RunResumed
from ohmwright.records.audit import audit
from ohmwright.records.canonical_json import chain_hash, sha256_digest
from ohmwright.records.chain import BrokenRunError, StoredRun, verified_events
from ohmwright.records.json_lines import read_runs, run_lines
from ohmwright.records.run_import import import_run
from ohmwright.records.seal import Seal, SealStatement
from ohmwright.records.sql_store import SqlStore

from .some_events import AT, stage, started, whole_run
from .test_audit import _triggers_off


def signed_as(run: str, kept: StoredRun, operator: str = "Áda") -> StoredRun:
    """The same run under a seal that holds and says `run` and `operator`."""
    assert kept.seal is not None
    key = Ed25519PrivateKey.generate()
    said = kept.seal.statement.model_dump() | {
        "run": run,
        "operator": operator,
        "key": key.public_key().public_bytes_raw().hex(),
    }
    statement = SealStatement(**said)
    signature = key.sign(statement.signed_bytes()).hex()
    return replace(kept, seal=Seal(statement=statement, signature=signature))


def test_a_seal_that_holds_is_that_of_the_run_it_names_alone(
    tmp_path: Path, opened: Callable[..., SqlStore]
) -> None:
    store = opened(str(tmp_path / "r.sqlite"))
    store.append_all("one", whole_run("one"))
    kept = store.stored_run("one")
    assert verified_events(signed_as("one", kept)) == whole_run("one")
    with pytest.raises(BrokenRunError, match="its seal is that of run two"):
        verified_events(signed_as("two", kept))


def test_a_seal_of_another_person_than_began_the_last_part_does_not_hold(
    tmp_path: Path, opened: Callable[..., SqlStore]
) -> None:
    first, *rest = whole_run("one")
    goes_on = RunResumed(at=AT, bench_s=0.0, operator="Bo", done=0)
    store = opened(str(tmp_path / "r.sqlite"))
    store.append_all("one", (first, goes_on, *rest))
    kept = store.stored_run("one")
    assert verified_events(signed_as("one", kept, "Bo"))
    with pytest.raises(BrokenRunError, match="Áda signed it, and its last part was begun by Bo"):
        verified_events(signed_as("one", kept, "Áda"))


def test_an_imported_run_that_was_hashed_anew_is_not_what_was_imported(
    tmp_path: Path, opened: Callable[..., SqlStore]
) -> None:
    """An open run has no seal; only the head in the ledger's entry tells."""
    source = opened(str(tmp_path / "source.sqlite"), computer="there")
    source.append_all("open", (started("open"), stage()))
    place = str(tmp_path / "r.sqlite")
    store = opened(place)
    ((run, events),) = read_runs(
        [line + b"\n" for line in run_lines(source.stored_run("open"))], "file"
    )
    import_run(store, run, events)
    kept = store.stored_run("open")
    first, second = kept.events
    other = second.body.replace(b'"bench_s":1.0', b'"bench_s":2.0')
    assert other != second.body
    assert first.hash == chain_hash(sha256_digest(kept.opening), first.body)
    with _triggers_off(store), store.database.write() as connection:
        connection.exec_driver_sql(
            f"UPDATE events SET body = x'{other.hex()}', "
            f"hash = x'{chain_hash(first.hash, other).hex()}' WHERE number = 2"
        )
    elsewhere = opened(place, computer="elsewhere")  # no witness there remembers the hash
    assert [str(finding) for finding in audit(elsewhere)] == [
        "run open: it is not what was imported"
    ]
