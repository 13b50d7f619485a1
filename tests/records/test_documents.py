"""Documents in a record: each fits its digest, and none that the run goes by is missing."""

import json
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

import pytest
from pydantic import ValidationError

from ohmwright.model.document import Document, DocumentRef, changed_roles, document
from ohmwright.model.event import DocumentKept, Event, RunResumed
from ohmwright.records.audit import audit
from ohmwright.records.chain import BrokenRunError, StoredEvent, StoredRun, verified_events
from ohmwright.records.json_lines import read_runs, run_lines
from ohmwright.records.run_import import import_run
from ohmwright.records.sql_store import SqlStore

from .some_events import AT, finished, point, stage, started

TEXT = 'title = "Monopolar output, ä"\n'
PROCEDURE = document("procedure", Path("p.toml"), TEXT)


def kept(one: Document = PROCEDURE) -> DocumentKept:
    return DocumentKept(at=AT, bench_s=0.5, document=one)


def run_with(*documents: Document, named: tuple[DocumentRef, ...]) -> tuple[Event, ...]:
    first = started("one").model_copy(update={"documents": named})
    return (first, *map(kept, documents), stage(), point(), finished())


def test_a_text_that_does_not_fit_its_digest_is_no_document() -> None:
    assert PROCEDURE.sha256 == sha256(TEXT.encode()).hexdigest()
    data = PROCEDURE.model_dump() | {"text": TEXT.replace("Mono", "Bi")}
    with pytest.raises(ValidationError, match="does not fit its SHA-256"):
        Document.model_validate(data)


def test_a_document_goes_along_when_a_run_is_handed_over(
    store: SqlStore, tmp_path: Path, opened: Callable[..., SqlStore]
) -> None:
    events = run_with(PROCEDURE, named=(PROCEDURE.ref,))
    store.append_all("one", events)
    assert list(audit(store)) == []
    lines = [line + b"\n" for line in run_lines(store.stored_run("one"))]
    other = opened(str(tmp_path / "elsewhere"), computer="there")
    for run, found in list(read_runs(lines, "file")):
        import_run(other, run, found)
    assert other.events("one") == events
    assert list(audit(other)) == []


def test_a_document_that_is_named_and_not_there_is_found(store: SqlStore) -> None:
    store.append_all("one", run_with(named=(PROCEDURE.ref,)))
    (finding,) = audit(store)
    assert finding.what == "a document that the run goes by is not in the record"
    assert finding.event == 2


def test_a_run_whose_start_names_another_run_is_found(store: SqlStore) -> None:
    """Would notice a paper that bears the number of another run than its record has."""
    store.append_all("one", (started("two"), stage(), point(), finished()))
    (finding,) = audit(store)
    assert (finding.what, finding.event) == ("its start is that of run two", 1)


def test_what_an_earlier_part_kept_need_not_be_kept_again(store: SqlStore) -> None:
    first = started("one").model_copy(update={"documents": (PROCEDURE.ref,)})
    again = RunResumed(at=AT, bench_s=0.0, operator="Áda", done=0, documents=(PROCEDURE.ref,))
    store.append_all("one", (first, kept(), again, stage(), point(), finished()))
    assert list(audit(store)) == []


def test_a_text_changed_with_its_chain_made_anew_still_shows(store: SqlStore) -> None:
    """Whoever can write every hash anew must also write a digest that the opening names."""
    from ohmwright.records.canonical_json import chain_hash, sha256_digest

    store.append_all("one", run_with(PROCEDURE, named=(PROCEDURE.ref,))[:-1])
    run = store.stored_run("one")
    forged, head = [], sha256_digest(run.opening)
    for one in run.events:
        body = one.body.replace(b"Monopolar output", b"Bipolar output")
        head = chain_hash(head, body)
        forged.append(StoredEvent(one.number, body, head))
    with pytest.raises(BrokenRunError, match="does not fit its SHA-256") as caught:
        verified_events(StoredRun(run.run_id, run.opening, tuple(forged), None))
    assert caught.value.event == 2
    assert json.loads(run.events[1].body)["document"]["text"] == TEXT


def test_what_is_not_known_has_not_changed() -> None:
    other = DocumentRef(role="procedure", sha256="0" * 64)
    bench = DocumentRef(role="bench", sha256="1" * 64)
    roles = ("procedure", "bench")
    assert changed_roles([other, bench], [PROCEDURE.ref], roles) == ("procedure",)
    assert changed_roles([bench], [PROCEDURE.ref], roles) == ()
