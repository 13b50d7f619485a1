"""The state of a unit of a campaign by what was noted of it, perhaps on two laptops."""

from __future__ import annotations

from datetime import date
from typing import Literal

import pytest

from ohmwright.fleet.campaign_state import UnitState, progress, unit_states
from ohmwright.records.campaigns import CampaignEntry, EntryWhat
from ohmwright.records.last_runs import WorkDone

Note = tuple[EntryWhat, str, str]
"""What was noted, its words, and the run."""

DONE: tuple[Note, ...] = (
    ("planned", "", ""),
    ("begun", "", "r1"),
    ("done", "9.5", "r1"),
)


def state(*notes: Note, **verdicts: str | None) -> UnitState:
    entries = [
        CampaignEntry(n, "HF-1", f"2026-05-{n + 1:02}", "Fenn", "bench", what, words, run)
        for n, (what, words, run) in enumerate(notes)
    ]
    return unit_states(entries, verdicts, {})["HF-1"]


def phase(*notes: Note, verdict: str | None) -> str:
    return state(*notes, r1=verdict).phase


@pytest.mark.parametrize(
    "later",
    [
        ("skipped", "away", ""),
        ("handed over", "Oake", ""),
        ("deferred", "2026-06-01 away", ""),
        ("begun", "", "r2"),
    ],
)
def test_what_is_done_stays_done_whatever_another_laptop_noted_later(later) -> None:
    assert phase(*DONE, later, verdict="pass") == "done"
    assert phase(*DONE[:2], later, verdict="pass") == "done"


def test_a_unit_whose_run_is_void_can_be_skipped() -> None:
    assert phase(*DONE, ("skipped", "away", ""), verdict=None) == "skipped"


def test_a_unit_that_was_skipped_before_is_done_by_its_run() -> None:
    assert phase(DONE[0], ("skipped", "away", ""), *DONE[1:], verdict="pass") == "done"


def test_a_unit_is_done_again_only_where_somebody_said_so_of_that_run() -> None:
    again: Note = ("again", "repaired", "r1")
    assert phase(*DONE, again, verdict="pass") == "open"
    assert phase(*DONE, ("again", "repaired", "r0"), verdict="pass") == "done"
    assert phase(*DONE, again, ("deferred", "2026-06-01", ""), verdict="pass") == "open"


PLANNED: Note = ("planned", "", "")
TAKEN: Note = ("taken", "", "")
DEFERRED: Note = ("deferred", "2026-06-01 away", "")
TO_OAKE: Note = ("handed over", "Oake", "")


def test_of_several_finished_runs_the_newest_counts() -> None:
    two: Note = ("begun", "", "r2")
    done = state(*DONE, two, r1="fail", r2="pass")
    assert (done.run_id, done.verdict) == ("r2", "pass")
    verdicts: tuple[Literal["fail", "pass"], ...] = ("fail", "pass")
    came = [
        WorkDone("HF-1", n, f"r{n}", f"2026-05-0{n + 1}", verdict, "Oake")
        for n, verdict in enumerate(verdicts, start=1)
    ]
    planned = CampaignEntry(0, "HF-1", "2026-05-01", "Fenn", "bench", "planned", "", "")
    done = unit_states([planned], {}, {"HF-1": came})["HF-1"]
    assert (done.run_id, done.verdict) == ("r2", "pass")


def test_what_puts_a_unit_back_ends_its_deferral_and_a_deferral_keeps_whose_it_is() -> None:
    assert state(PLANNED, DEFERRED).not_before == date(2026, 6, 1)
    assert state(PLANNED, DEFERRED, TO_OAKE).not_before is None
    assert state(*DONE, DEFERRED, ("again", "repaired", "r1"), r1="pass").not_before is None
    assert state(PLANNED, TO_OAKE, DEFERRED).only_by == "Oake"
    assert state(PLANNED, TAKEN, ("skipped", "away", "")).holder is None


def test_a_unit_is_counted_as_deferred_or_handed_over_only_while_it_waits() -> None:
    def counts(*notes: Note) -> tuple[int, int]:
        far = progress({"HF-1": state(PLANNED, *notes)}, {}, date(2026, 6, 1))
        return far.deferred, far.handed_over

    assert counts(TO_OAKE) == (0, 1)
    assert counts(TO_OAKE, TAKEN) == (0, 0)
    assert counts(DEFERRED) == (0, 0), "its day has come"
    assert counts(("deferred", "2026-06-02 away", "")) == (1, 0)
