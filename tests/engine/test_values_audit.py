"""Values of many runs, computed once more by this process and by others."""

from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import active_children

import pytest

from ohmwright.model.event import Event
from ohmwright.records import values_audit
from ohmwright.records.values_audit import NOT_ASKED_FOR, RecomputedValues

from .conftest import Rig
from .test_recomputed_values import off_by, why_not, with_result


@pytest.fixture
def job(whole_job: tuple[Rig, tuple[Event, ...]]) -> Sequence[Event]:
    return whole_job[1]


def runs_with_findings(job: Sequence[Event]) -> list[str]:
    """Of a run, the same forged, and the run once more: those in which something is found."""
    forged, _ = with_result(job, off_by(0.02))
    named = (("first", job), ("forged", forged), ("last", job))
    with RecomputedValues() as recomputed:
        found = [one for run_id, events in named for one in recomputed(run_id, events)]
        found += recomputed.rest()
    assert recomputed.reasons[""] == 3 * why_not(job)[""]
    assert active_children() == []
    return [one.run for one in found]


def test_what_is_found_is_alike_here_and_in_other_processes(
    job: Sequence[Event], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert runs_with_findings(job) == ["forged"]
    monkeypatch.setattr(values_audit, "_FEW", 0)
    assert runs_with_findings(job) == ["forged"]


def test_of_a_process_that_is_lost_the_values_are_computed_here(
    job: Sequence[Event], monkeypatch: pytest.MonkeyPatch
) -> None:
    def lost(*_: object) -> None:
        raise BrokenProcessPool

    monkeypatch.setattr(values_audit, "_FEW", 0)
    monkeypatch.setattr(ProcessPoolExecutor, "submit", lost)
    assert runs_with_findings(job) == ["forged"]


def test_no_process_is_left_of_an_audit_that_is_stopped(
    job: Sequence[Event], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(values_audit, "_FEW", 0)

    def stopped() -> None:
        with RecomputedValues() as recomputed:
            list(recomputed("first", job))
            assert active_children()
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        stopped()
    assert active_children() == []


def test_what_is_not_asked_for_is_counted_and_not_computed(job: Sequence[Event]) -> None:
    forged, _ = with_result(job, off_by(0.02))
    recomputed = RecomputedValues(wanted=False)
    assert list(recomputed("forged", forged)) == []
    assert recomputed.reasons[NOT_ASKED_FOR] == why_not(job)[""]
    assert recomputed.reasons[""] == 0
