"""The state of a unit of a campaign by what was noted of it, perhaps on two laptops."""

from __future__ import annotations

import pytest

from ohmwright.fleet.campaign_state import unit_states
from ohmwright.records.campaigns import CampaignEntry, EntryWhat

DONE: tuple[tuple[EntryWhat, str, str], ...] = (
    ("planned", "", ""),
    ("begun", "", "r1"),
    ("done", "9.5", "r1"),
)


def phase(*notes: tuple[EntryWhat, str, str], verdict: str | None) -> str:
    entries = [
        CampaignEntry(n, "HF-1", f"2026-05-{n + 1:02}", "Fenn", "bench", what, words, run)
        for n, (what, words, run) in enumerate(notes)
    ]
    return unit_states(entries, {"r1": verdict}, {})["HF-1"].phase


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
    again: tuple[EntryWhat, str, str] = ("again", "repaired", "r1")
    assert phase(*DONE, again, verdict="pass") == "open"
    assert phase(*DONE, ("again", "repaired", "r0"), verdict="pass") == "done"
    assert phase(*DONE, again, ("deferred", "2026-06-01", ""), verdict="pass") == "open"
