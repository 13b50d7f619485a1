"""Runs by one certificate with different analyzers are named, and no more than that."""

from datetime import date

from ohmwright.model.event import Event
from ohmwright.model.traceability import Traceability
from ohmwright.records.audit import audit
from ohmwright.records.sql_store import SqlStore

from .some_events import finished, stage, started

BASIS = Traceability(
    certificate="CAL-1",
    laboratory="Corrow Metrology, invented",
    calibrated_on=date(2025, 8, 18),
    due_on=date(2026, 8, 18),
)


def run(name: str, analyzer: str, seed: int | None = None) -> list[Event]:
    began = started(name, seed=seed).model_copy(
        update={"analyzer": analyzer, "traceability": BASIS}
    )
    return [began, stage(), finished()]


def test_a_run_by_another_analyzer_with_the_same_certificate_is_named(store: SqlStore) -> None:
    store.append_all("first", run("first", "Maker,Model,A1,1.0"))
    store.append_all("newer firmware", run("newer firmware", "Maker,Model,A1,1.1"))
    store.append_all("simulated", run("simulated", "Maker,Model,A2,1.0", seed=2))
    assert list(audit(store)) == []
    store.append_all("other", run("other", "Maker,Model,A2,1.1"))
    (warning,) = audit(store)
    assert (warning.kind, warning.run, warning.event) == ("warning", "other", 1)
    assert "in run newer firmware 'Maker,Model,A1,1.1'" in warning.what
