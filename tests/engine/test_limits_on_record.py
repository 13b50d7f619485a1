"""Limits on record are held against those of the procedure that was kept with them."""

import re
from collections.abc import Sequence
from pathlib import Path

import pytest

from ohmwright.engine.limits_on_record import differing_limits, unreadable_procedures
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.model.document import document
from ohmwright.model.event import DocumentKept, Event, PointDone, RunResumed
from ohmwright.model.tolerance import Target

from .conftest import Rig

LEAKAGE = "bipolar-leakage"
DEMO = Path("sim_profiles/procedures/demo-monopolar.toml")


@pytest.fixture
def job(whole_job: tuple[Rig, tuple[Event, ...]]) -> tuple[Event, ...]:
    return whole_job[1]


def changed(events: Sequence[Event], at: int, target: Target | None) -> list[Event]:
    done = events[at]
    assert isinstance(done, PointDone)
    result = done.result.model_copy(update={"target": target})
    return [*events[:at], done.model_copy(update={"result": result}), *events[at + 1 :]]


def judged_places(events: Sequence[Event]) -> list[int]:
    return [n for n, e in enumerate(events) if isinstance(e, PointDone) and e.result.target]


def test_every_limit_of_a_job_is_its_procedures(job: Sequence[Event]) -> None:
    assert len(judged_places(job)) > 20
    assert [*differing_limits(job)] == []
    assert unreadable_procedures(job) == ()


def test_each_limit_that_was_changed_is_told(job: Sequence[Event]) -> None:
    stated = {step.name: step.stated_targets() for step in read_procedure(DEMO).procedure.step}
    for at in judged_places(job):
        done = job[at]
        assert isinstance(done, PointDone)
        result = done.result
        assert result.target is not None
        if result.point not in stated[result.step]:
            assert result.kind == "warm_up"
            continue
        wider = result.target.model_copy(update={"upper": 1.01 * result.target.upper})
        ((number, said),) = differing_limits(changed(job, at, wider))
        assert number == at + 1
        assert f"{result.step}, {result.point} is recorded with" in said
        assert f"{wider.upper:.6g} {wider.unit}; the procedure kept with it states" in said
        ((_, said),) = differing_limits(changed(job, at, None))
        assert "is recorded with no limits" in said


def test_a_resumed_run_goes_by_the_procedure_it_was_resumed_with(
    job: Sequence[Event],
) -> None:
    text = DEMO.read_text(encoding="utf-8").replace("rated_power_w = 65", "rated_power_w = 90")
    other = document("procedure", DEMO, text)
    at = max(n for n, e in enumerate(job) if isinstance(e, PointDone) and e.result.step == LEAKAGE)
    stamp = {"at": job[at].at, "bench_s": 0.0}
    resumed = RunResumed(**stamp, operator="A. Fenn", done=1, documents=(other.ref,))
    kept = DocumentKept(**stamp, document=other)
    events = [*job[:at], resumed, kept, *job[at:]]
    assert [number for number, _ in differing_limits(events)] == [at + 3]


@pytest.mark.parametrize("text", ["title = 1", 'title = "x'])
def test_a_procedure_that_cannot_be_read_is_named(text: str, job: Sequence[Event]) -> None:
    other = document("procedure", Path("house.toml"), text)
    kept = DocumentKept(at=job[0].at, bench_s=0.0, document=other)
    assert unreadable_procedures([kept]) == ("house.toml",)


def test_a_kept_procedure_with_numbers_in_quotes_is_read(job: Sequence[Event]) -> None:
    text = DEMO.read_text(encoding="utf-8")
    quoted = re.sub(r"\b(age_s|load_ohm) = (\S+)", r'\1 = "\2"', text)
    other = document("procedure", DEMO, quoted)
    kept = DocumentKept(at=job[0].at, bench_s=0.0, document=other)
    assert unreadable_procedures([kept]) == ()
