"""Times that contradict each other are named, and no more than that."""

from datetime import timedelta

import pytest

from ohmwright.model.event import Event, RunResumed
from ohmwright.model.result import Sample
from ohmwright.records.audit import audit
from ohmwright.records.copied_readings import CopiedReadings
from ohmwright.records.sql_store import SqlStore
from ohmwright.records.time_order import begun_otherwise_than_numbered, signed_before_it_ended
from ohmwright.wire.clock import RealClock

from .some_events import AT, finished, point, stage, started, whole_run


def at(event: Event, seconds: float) -> Event:
    return event.model_copy(update={"at": AT + timedelta(seconds=seconds)})


def found(store: SqlStore) -> list[tuple[str, str, int | None]]:
    return [(one.kind, one.run, one.event) for one in audit(store)]


def test_a_run_dated_before_its_predecessor_is_named(store: SqlStore) -> None:
    store.append_all("first", whole_run("first"))
    store.append_all("simulated", [at(started("simulated", seed=1), -9e6)])
    store.append_all("second", [at(event, -30) for event in whole_run("second")])
    assert found(store) == []
    store.append_all("third", [at(event, -3600) for event in whole_run("third")])
    assert found(store) == [("warning", "third", 1)]
    (warning,) = audit(store)
    assert "2026-01-05 07:00 UTC" in warning.what
    assert "run second of 2026-01-05 07:59 UTC" in warning.what


@pytest.mark.parametrize(("back_s", "says"), [(0.5, []), (600.0, [("warning", "run", 3)])])
def test_an_event_that_goes_back_in_time_is_named(
    store: SqlStore, back_s: float, says: list[object]
) -> None:
    late, dated_s = {"bench_s": 1000.0}, 1000 - back_s
    events = [started("run"), at(stage(), 1000), at(point(), dated_s), at(finished(), dated_s)]
    store.append_all("run", [events[0], *(one.model_copy(update=late) for one in events[1:])])
    assert found(store) == says


@pytest.mark.parametrize(
    ("ahead_s", "says"),
    [(3.0, []), (30.0, []), *((ahead_s, [("warning", "run", 3)]) for ahead_s in (90.0, 3600.0))],
)
def test_a_clock_set_forward_in_a_run_is_named(
    store: SqlStore, ahead_s: float, says: list[object]
) -> None:
    """The bench's own seconds go on as they did: RF was not on for an hour."""
    run = [started("run"), at(stage(), 1), at(point(), 2 + ahead_s), at(finished(), 3 + ahead_s)]
    store.append_all("run", run)
    assert found(store) == says
    simulated = [started("simulated", seed=1), *run[1:]]
    store.append_all("simulated", simulated)
    assert found(store) == says


def test_a_run_that_goes_on_a_day_later_is_no_clock_set_forward(store: SqlStore) -> None:
    resumed = at(RunResumed(at=AT, bench_s=5.0, operator="Áda", done=0), 86400)
    store.append_all("run", [started("run"), resumed])
    assert found(store) == []


def test_so_is_one_whose_bench_time_goes_back(store: SqlStore) -> None:
    store.append_all("run", [started("run"), stage(50.0), point(), finished()])
    assert found(store) == [("warning", "run", 3)]


@pytest.mark.parametrize(("seed", "says"), [(1, []), (None, [("warning", "run", 3)])])
def test_a_simulated_clock_begins_anew_with_each_sitting(
    store: SqlStore, seed: int | None, says: list[object]
) -> None:
    resumed = RunResumed(at=AT, bench_s=0.0, operator="Áda", done=0)
    store.append_all("run", [started("run", seed=seed), at(stage(90.0), 90), resumed, finished()])
    assert found(store) == says


def test_a_number_of_another_day_than_the_start_is_named(store: SqlStore) -> None:
    """As where every date of a run was moved, but not its number."""
    for name, days in (("20260105T075930Z-HF-1-ab12", 0), ("20260306T080000Z-HF-1-ab12", 60)):
        store.append_all(name, whole_run(name))
        findings = list(begun_otherwise_than_numbered(name, store.events(name)))
        assert [(one.kind, one.event) for one in findings] == [("unknown", 1)] * (days > 0)
    assert "2026-01-05, and its number is of 2026-03-06" in findings[0].what
    assert found(store) == [("unknown", name, 1)]


def test_a_run_that_is_still_to_come_is_named(store: SqlStore) -> None:
    ahead_s = (RealClock().wall() - AT).total_seconds() + 30 * 86400
    store.append_all("ahead", [at(event, ahead_s) for event in whole_run("ahead")])
    assert found(store) == [("warning", "ahead", 5)]


def test_a_run_with_the_readings_of_another_is_named() -> None:
    """As where a run was written anew for another unit; a simulated one repeats itself."""
    samples = tuple(Sample(0.25 * n + 0.013, 400.0 + n) for n in range(12))
    done = point()
    read = done.model_copy(update={"result": done.result.model_copy(update={"samples": samples})})
    for seed, expected in ((None, 1), (1, 0)):
        copies = CopiedReadings()
        assert list(copies("one", [started("one", seed=seed), read])) == []
        assert list(copies("one", [started("one", seed=seed), read])) == []
        again = list(copies("two", [started("two", "HF-2", seed=seed), read]))
        assert [(one.run, one.event, one.kind) for one in again] == [("two", 2, "wrong")] * expected


@pytest.mark.parametrize(
    ("after_s", "said"),
    [(-120, ["a signature is dated 120 s before its last event"]), (-30, []), (3600, [])],
)
def test_a_signature_is_not_older_than_what_it_signs(after_s: float, said: list[str]) -> None:
    signed_at = AT + timedelta(seconds=after_s)
    seen = signed_before_it_ended("run", whole_run("run"), [signed_at])
    assert [one.what.partition(",")[0] for one in seen] == said
    simulated = [started("run", seed=1), finished()]
    assert not list(signed_before_it_ended("run", simulated, [signed_at]))
