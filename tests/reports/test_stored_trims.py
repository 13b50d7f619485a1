"""Papers say whether the unit was told to keep the trims that were moved."""

from datetime import timedelta
from typing import Any

from ohmwright.model.event import Event, RunResumed, ServiceLeft, TrimMoved, TrimsStored
from ohmwright.reports.certificate import certificate_of
from ohmwright.reports.certificate_text import certificate_text
from ohmwright.reports.stored_trims import stored_trims_text

from . import conftest

AT: dict[str, Any] = {"at": conftest.BEGUN + timedelta(minutes=1), "bench_s": 60.0}
CURRENT = conftest.result("adjust", "trim", "cut current")
STORED = TrimsStored(**AT)


def moved(point: str = "cut current") -> TrimMoved:
    return TrimMoved(**AT, point=point, counts=-37, current_ma=950.0)


def left(point: str = "cut current") -> ServiceLeft:
    return ServiceLeft(**AT, point=point)


def said(*events: Event) -> str:
    return stored_trims_text([CURRENT], events)


def test_what_was_stored_is_told_with_who_said_so() -> None:
    by_command = "Trims stored in the unit by command after they were moved: cut current."
    assert said(moved(), STORED) == by_command
    told = TrimsStored(**AT, told_by="A. Fenn")
    assert said(moved(), told) == by_command.replace("by command", "as told by A. Fenn")


def test_a_move_that_nothing_stored_is_told() -> None:
    bare = "Moved, and no storing in the unit is on record: cut current."
    assert said(moved()) == said(STORED, moved()) == said(moved(), STORED, moved()) == bare
    assert said(moved(), left(), STORED) == bare  # it was undone before
    resumed = RunResumed(**AT, operator="A. Fenn", done=1)
    assert said(moved(), resumed, STORED) == bare  # the unit may have been without mains meanwhile


def test_what_was_undone_after_it_was_stored_leaves_the_trim_stored() -> None:
    assert said(moved(), STORED, moved(), left()).startswith("Trims stored in the unit by command")


def test_of_a_trim_that_stands_where_it_stood_nothing_is_said() -> None:
    stayed = CURRENT.model_copy(update={"final_trim": CURRENT.start_trim})
    assert stored_trims_text([stayed], [STORED]) == stored_trims_text([], []) == ""


def test_the_paper_says_it() -> None:
    sheet = certificate_text(certificate_of(conftest.a_run()))
    assert "Moved, and no storing in the unit is on record: cut current." in sheet.notes
