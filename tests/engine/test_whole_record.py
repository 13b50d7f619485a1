"""A run whose results do not fit its procedure, certificate, activations or moves is told so."""

from collections.abc import Callable, Sequence
from datetime import date, timedelta
from typing import Any

import pytest

from ohmwright.engine.beginning_on_record import differing_beginnings
from ohmwright.engine.certificate_on_record import differing_certificates
from ohmwright.engine.contradictions import quick_contradictions
from ohmwright.engine.figures_on_record import differing_figures
from ohmwright.engine.missing_points import missing_points
from ohmwright.engine.people_on_record import differing_people
from ohmwright.engine.recomputed_values import differing, recomputable
from ohmwright.engine.repeated_readings import repeated_readings
from ohmwright.engine.rf_on_record import misfit_results
from ohmwright.model.event import (
    ActivationClosed,
    DocumentKept,
    Event,
    PointDone,
    RunFinished,
    RunResumed,
    RunStarted,
    TrimMoved,
)
from ohmwright.model.result import BudgetEntry, Measured, Result, Sample
from ohmwright.model.traceability import Traceability

from .conftest import Rig

Change = Callable[[Result], dict[str, Any]]


@pytest.fixture
def job(whole_job: tuple[Rig, tuple[Event, ...]]) -> Sequence[Event]:
    return whole_job[1]


def is_power(event: Event) -> bool:
    if not isinstance(event, PointDone) or event.result.measured is None:
        return False
    return event.result.kind == "output" and event.result.measured.quantity == "power_w"


def with_first(
    events: Sequence[Event], which: Callable[[Event], bool], change: Change
) -> Sequence[Event]:
    """The same events, but for the first result that `which` picks."""
    place = next(i for i, event in enumerate(events) if which(event))
    event = events[place]
    assert isinstance(event, PointDone)
    changed = event.result.model_copy(update=change(event.result))
    one = event.model_copy(update={"result": changed})
    return [*events[:place], one, *events[place + 1 :]]


def without(events: Sequence[Event], which: Callable[[Event], bool]) -> Sequence[Event]:
    return [event for event in events if not which(event)]


def with_lines(result: Result, factor: float, *sources: str) -> dict[str, Any]:
    """The measured value with some lines of its budget times a factor."""
    measured = result.measured
    assert measured is not None
    lines = tuple(
        BudgetEntry(**{**dict(line), "standard_uncertainty": factor * line.standard_uncertainty})
        if line.source in sources
        else line
        for line in measured.budget
    )
    assert lines != measured.budget
    return {"measured": measured.model_copy(update={"budget": lines})}


def said(found: Any) -> str:
    return " // ".join(what for _, what in found)


def test_a_job_fits_in_all_of_it(job: Sequence[Event]) -> None:
    checks = (
        *(differing_certificates, missing_points, misfit_results, differing_figures),
        *(repeated_readings, differing_beginnings, differing_people),
    )
    assert [found for check in checks for found in check(job)] == []
    moves = {type(event) for event in job}
    assert {TrimMoved, ActivationClosed, RunFinished} <= moves


def test_points_without_a_result_are_named(job: Sequence[Event]) -> None:
    last = [event for event in job if is_power(event)][-1]
    cut = without(job, lambda event: event is last)
    assert isinstance(last, PointDone)
    ((number, what),) = missing_points(cut)
    assert number == len(cut)
    assert what.startswith("1 of the ")
    assert f"{last.result.step}, {last.result.point}" in what


def test_a_point_that_was_left_out_with_a_reason_is_not_missing(job: Sequence[Event]) -> None:
    def skipped(_: Result) -> dict[str, Any]:
        return {"measured": None, "verdict": "not measured", "reason": "skipped"}

    assert list(missing_points(with_first(job, is_power, skipped))) == []
    assert list(missing_points(job[:-3])) == []  # not finished: points may be to come


def test_a_run_that_goes_on_is_held_against_all_its_results(job: Sequence[Event]) -> None:
    begun = job[0]
    assert isinstance(begun, RunStarted)
    told = {"operator": "P", "done": 1, "documents": begun.documents}
    half = len(job) // 2
    goes_on = RunResumed(at=begun.at, bench_s=0.0, **told)
    assert list(missing_points([*job[:half], goes_on, *job[half:]])) == []


def test_a_certificate_that_is_not_kept_is_told(job: Sequence[Event]) -> None:
    bare = without(
        job,
        lambda e: isinstance(e, DocumentKept) and e.document.role == "analyzer certificate",
    )
    assert "and none is kept with the run" in said(differing_certificates(bare))


def dated(events: Sequence[Event], **changed: object) -> Sequence[Event]:
    """The same run under a certificate with other dates, in its beginning."""
    begun = events[0]
    assert isinstance(begun, RunStarted)
    assert isinstance(begun.traceability, Traceability)
    basis = begun.traceability.model_copy(update=changed)
    return [begun.model_copy(update={"traceability": basis}), *events[1:]]


def test_work_after_the_due_date_is_told_unless_the_record_says_so(job: Sequence[Event]) -> None:
    day: date = job[0].at.date()
    before = day - timedelta(days=1)
    assert "had expired" in said(differing_certificates(dated(job, due_on=before)))
    assert list(differing_certificates(dated(job, due_on=day))) == []
    assert list(differing_certificates(dated(job, due_on=before, expired=True))) == []
    after = day + timedelta(days=1)
    assert "after the work" in said(differing_certificates(dated(job, calibrated_on=after)))


@pytest.mark.parametrize("source", ["meter accuracy", "load resistance", "load drift"])
@pytest.mark.parametrize("factor", [0.1, 0.0])
def test_a_line_that_the_kept_certificate_does_not_give_is_told(
    job: Sequence[Event], source: str, factor: float
) -> None:
    forged = with_first(job, is_power, lambda result: with_lines(result, factor, source))
    assert f"{source} is " in said(differing_certificates(forged))


def test_effects_that_are_left_out_and_not_named_are_told(job: Sequence[Event]) -> None:
    def none_left_out(result: Result) -> dict[str, Any]:
        assert isinstance(result.measured, Measured)
        assert result.measured.left_out
        return {"measured": result.measured.model_copy(update={"left_out": ()})}

    forged = with_first(job, is_power, none_left_out)
    assert "leaves out other effects" in said(differing_certificates(forged))


def test_a_smaller_u_of_the_readings_is_told(job: Sequence[Event]) -> None:
    lines = ("readings", "lag, droop and hunting", "extrapolation")
    forged = with_first(job, is_power, lambda result: with_lines(result, 0.1, *lines))
    assert "u of its readings is" in said(differing(recomputable(forged)[0]))
    larger = with_first(job, is_power, lambda result: with_lines(result, 2.0, *lines))
    assert differing(recomputable(larger)[0]) == []  # a person dated them, or two were pooled


def test_another_kind_than_the_procedure_says_is_told(job: Sequence[Event]) -> None:
    forged = with_first(job, is_power, lambda _: {"kind": "monotonicity"})
    assert "it is of the kind monotonicity, and the procedure says" in said(
        differing_figures(forged)
    )


def test_protections_that_the_kept_bench_file_does_not_give_are_told(job: Sequence[Event]) -> None:
    began = next(event for event in job if isinstance(event, RunStarted))
    assert began.protections is not None

    def claimed(**changes: object) -> str:
        protections = began.protections.model_copy(update=changes)
        forged = began.model_copy(update={"protections": protections})
        return said(differing_beginnings([forged if event is began else event for event in job]))

    assert "it has no port" in claimed(guard=True)
    assert "by hand is done: foot switch; by the bench kept with the run: nothing" in claimed(
        by_hand=("foot switch",)
    )
    real = without_table(job, "simulation")
    assert "invented hardware is recorded" in said(differing_beginnings(real))


def without_table(events: Sequence[Event], name: str) -> Sequence[Event]:
    """The same events; the kept bench file has another name for one of its tables."""
    return [
        event.model_copy(
            update={
                "document": event.document.model_copy(
                    update={"text": event.document.text.replace(f"[{name}]", f"[other-{name}]")}
                )
            }
        )
        if isinstance(event, DocumentKept) and event.document.role == "bench"
        else event
        for event in events
    ]


def test_an_analyzer_without_the_serial_number_of_its_certificate_is_told(
    job: Sequence[Event],
) -> None:
    def with_serial(serial: str) -> str:
        place = next(
            i
            for i, event in enumerate(job)
            if isinstance(event, DocumentKept) and event.document.role == "analyzer certificate"
        )
        kept = job[place]
        assert isinstance(kept, DocumentKept)
        text = f'serial = "{serial}"\n{kept.document.text}'
        document = kept.document.model_copy(update={"text": text})
        changed = kept.model_copy(update={"document": document})
        return said(differing_certificates([*job[:place], changed, *job[place + 1 :]]))

    began = next(event for event in job if isinstance(event, RunStarted))
    own = began.analyzer.split(",")[2]
    assert with_serial(own) == ""
    assert with_serial("A999").count("is for serial number A999") == 1


def test_readings_after_rf_was_off_are_told(job: Sequence[Event]) -> None:
    def later(result: Result) -> dict[str, Any]:
        last = result.samples[-1]
        return {"samples": (*result.samples, Sample(last.age_s + 3.0, last.current_ma))}

    assert "and RF was off at" in said(misfit_results(with_first(job, is_power, later)))


def test_two_results_of_one_activation_are_told(job: Sequence[Event]) -> None:
    place = next(i for i, event in enumerate(job) if is_power(event))
    twice = [*job[: place + 1], *job[place:]]
    ((number, what),) = misfit_results(twice)
    assert (number, "no activation is on record" in what) == (place + 2, True)


def test_more_rf_than_its_activations_had_is_told(job: Sequence[Event]) -> None:
    longer = with_first(job, is_power, lambda result: {"on_s": 2 * result.on_s + 5})
    assert "its activations add up to" in said(misfit_results(longer))


def test_a_value_without_the_readings_of_its_activation_is_told(job: Sequence[Event]) -> None:
    bare = with_first(job, is_power, lambda _: {"samples": ()})
    assert "it has a value and activations, and no reading" in said(misfit_results(bare))


def test_less_rf_than_the_activations_of_a_run_is_told(job: Sequence[Event]) -> None:
    end = job[-1].model_copy(update={"on_s": 10.0})
    ((number, what),) = misfit_results([*job[:-1], end])
    assert (number, what.startswith("RF was on for 10.0 s")) == (len(job), True)


def test_a_trim_that_its_moves_do_not_give_is_told(job: Sequence[Event]) -> None:
    unmoved = without(job, lambda event: isinstance(event, TrimMoved))
    assert "its moves on record add up to +0" in said(misfit_results(unmoved))

    def adjusted(event: Event) -> bool:
        return isinstance(event, PointDone) and event.result.start_trim is not None

    shifted = with_first(job, adjusted, lambda r: {"start_trim": (r.start_trim or 0) + 1})
    assert "its trim went from" in said(misfit_results(shifted))


def test_trims_of_a_point_adjusted_again_count_on_from_its_first_result(
    job: Sequence[Event],
) -> None:
    first = next(e for e in job if isinstance(e, PointDone) and e.result.start_trim is not None)
    start, final = first.result.start_trim, first.result.final_trim
    assert start is not None
    assert final is not None
    move = next(e for e in job if isinstance(e, TrimMoved)).model_copy(
        update={"point": first.result.point, "counts": 7}
    )

    def again(how: str, final: int) -> PointDone:
        update = {"again": how, "final_trim": final, "samples": (), "measured": None}
        return first.model_copy(update={"result": first.result.model_copy(update=update)})

    end = job.index(first) + 1
    log = [*job[:end], again("checked", final), move, again("adjusted", final + 7)]
    assert list(misfit_results(log)) == []
    wrong = [*job[:end], again("checked", final + 1), move, again("adjusted", final + 9)]
    assert [number for number, _ in misfit_results(wrong)] == [end + 1, end + 3]


def measured_twice(job: Sequence[Event]) -> tuple[Result, Result]:
    """A point as found and as left."""
    found = next(e.result for e in job if is_power(e) and e.result.stage == "as_found")
    names = (found.step, found.point)
    left = next(
        e.result
        for e in job
        if is_power(e) and e.result.stage == "as_left" and (e.result.step, e.result.point) == names
    )
    return found, left


@pytest.mark.parametrize("kept", [30, None])
def test_a_result_as_found_that_is_a_copy_of_the_one_as_left_is_told(
    job: Sequence[Event], kept: int | None
) -> None:
    """What a forger with the signing key does: chained and signed anew, all else holds."""
    found, left = measured_twice(job)
    copied = left.model_copy(update={"stage": "as_found", "samples": left.samples[:kept]})
    forged = with_first(job, lambda e: is_power(e) and e.result == found, lambda _: dict(copied))
    ((number, what),) = (
        one for one in quick_contradictions(forged) if "are of one activation" in one[1]
    )
    event = forged[number - 1]
    assert isinstance(event, PointDone)
    assert event.result == left
    assert f"readings are those of as found, {left.step}, {left.point} (event " in what


@pytest.mark.parametrize("seed", [3, None])
def test_a_simulated_bench_that_goes_on_begins_its_noise_anew(
    job: Sequence[Event], seed: int | None
) -> None:
    """A sweep of some passes that was killed is no forgery; on a real bench it would be one."""
    found, left = measured_twice(job)
    alike = with_first(
        job, lambda e: is_power(e) and e.result == left, lambda _: {"samples": found.samples}
    )
    begun = [e.model_copy(update={"seed": seed}) if isinstance(e, RunStarted) else e for e in alike]
    assert len(list(repeated_readings(begun))) == 1
    at = next(
        n for n, e in enumerate(begun) if isinstance(e, PointDone) and e.result.stage != "as_found"
    )
    resumed = RunResumed(at=begun[at].at, bench_s=0.0, operator="Ann", done=0)
    gone_on = [*begun[:at], resumed, *begun[at:]]
    assert len(list(repeated_readings(gone_on))) == (1 if seed is None else 0)


@pytest.mark.parametrize(
    ("samples", "told"),
    [
        (tuple(Sample(n / 10, 440.0 + n) for n in range(10)), True),
        (tuple(Sample(n / 10, 440.0 + n) for n in range(9)), False),  # too few
        (tuple(Sample(n / 10, 440.0 + n % 7) for n in range(40)), False),  # it stands still
    ],
)
def test_what_a_coarse_meter_may_repeat_is_no_copy(
    job: Sequence[Event], samples: tuple[Sample, ...], *, told: bool
) -> None:
    found, left = measured_twice(job)

    def with_samples(events: Sequence[Event], of: Result, own: Sequence[Sample]) -> Sequence[Event]:
        given = {"samples": tuple(own)}
        return with_first(events, lambda e: is_power(e) and e.result == of, lambda _: given)

    both = with_samples(with_samples(job, found, samples), left, samples)
    assert (list(repeated_readings(both)) != []) == told
    left_again = left.model_copy(update={"samples": samples})
    later = [Sample(age_s + 0.002, ma) for age_s, ma in samples]
    assert list(repeated_readings(with_samples(both, left_again, later))) == []
