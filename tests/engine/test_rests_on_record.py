"""How long RF was off before a value, by the record, is what the simulated bench did."""

import csv
from collections.abc import Sequence
from io import StringIO

import numpy as np
import pytest

from ohmwright.engine.rests_on_record import rests_on_record
from ohmwright.model.event import (
    ActivationClosed,
    DocumentKept,
    Event,
    PointDone,
    ProtectionProved,
)
from ohmwright.reports.certificate import certificate_of
from ohmwright.reports.certificate_notes import notes_of
from ohmwright.reports.csv_file import certificate_csv
from ohmwright.reports.result_tables import adjustment_rows, step_groups

from .conftest import Rig


def test_the_rests_of_a_job_are_those_with_rf_off_at_the_bench(
    whole_job: tuple[Rig, tuple[Event, ...]],
) -> None:
    rig, events = whole_job
    on = np.array(rig.hardware.truth.rf_on_intervals)
    off_s = on[1:, 0] - on[:-1, 1]
    rests = rests_on_record(events)
    assert {rest.asked_s for rest in rests.values()} == {30.0}
    assert max(rest.off_s for rest in rests.values()) > 5
    # RF counts as on until it was read as off, so that a rest on record is a little shorter
    for rest in rests.values():
        assert np.min(np.abs(off_s - rest.off_s)) < 1.0
    with_rf = [e.result for e in events if isinstance(e, PointDone) and e.result.on_s > 0]
    assert {(r.stage, r.step, r.point) for r in with_rf} == set(rests)


@pytest.fixture
def two_points(whole_job: tuple[Rig, tuple[Event, ...]]) -> list[Event]:
    """The events until the second result."""
    events = whole_job[1]
    second = [n for n, e in enumerate(events) if isinstance(e, PointDone)][1]
    return list(events[: second + 1])


def off_s(events: Sequence[Event]) -> list[float]:
    return [rest.off_s for rest in rests_on_record(events).values()]


def test_a_rest_that_nobody_knows_is_not_stated(two_points: list[Event]) -> None:
    assert len(off_s(two_points)) == 2
    proofs = [n for n, e in enumerate(two_points) if isinstance(e, ProtectionProved)]
    without_rf_before = two_points[:1] + two_points[proofs[-1] + 1 :]
    assert len(off_s(without_rf_before)) == 1, "RF was on for the protections alone before it"
    undated = [
        e.model_copy(update={"on_at_bench_s": None}) if isinstance(e, ActivationClosed) else e
        for e in two_points
    ]
    assert off_s(undated) == []
    first = next(n for n, e in enumerate(two_points) if isinstance(e, PointDone))
    parted = [*two_points[: first + 1], two_points[0], *two_points[first + 1 :]]
    assert len(off_s(parted)) == 1, "the clock of another part may be another one"


def test_without_a_procedure_that_can_be_read_what_it_asks_is_not_known(
    two_points: list[Event],
) -> None:
    bare = [e for e in two_points if not isinstance(e, DocumentKept)]
    assert {rest.asked_s for rest in rests_on_record(bare).values()} == {None}


def test_papers_and_spreadsheet_have_the_rest_of_each_value(
    whole_job: tuple[Rig, tuple[Event, ...]],
) -> None:
    """It was on record alone, and an assessor could not see it."""
    made = certificate_of(whole_job[1])
    first = next(iter(step_groups(made)))
    assert "; rested " in first.at
    assert "s (procedure: 30 s); read until" in first.at
    assert all("rested " in row.at for row in adjustment_rows(made))
    assert any(note.startswith("Rested: how long RF was off") for note in notes_of(made))
    rows = list(csv.DictReader(StringIO(certificate_csv(made).decode("utf-8-sig"))))
    with_rf = [row for row in rows if row["read_until_s"]]
    assert {row["procedure_rest_s"] for row in with_rf} == {"30.0"}
    known = rests_on_record(whole_job[1])
    assert {(r["stage"], r["step"], r["point"]): r["rested_s"] for r in rows if r["rested_s"]} == {
        key: str(rest.off_s) for key, rest in known.items()
    }
    assert any(row["rested_s"] == "" for row in rows if row["step"] == "neutral-electrode")
