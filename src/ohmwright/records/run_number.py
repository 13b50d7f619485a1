"""The time in the number of a run: when it was begun, by the clock of its computer."""

from __future__ import annotations

from datetime import UTC, datetime

from .flat_rows import sortable_time

NUMBER_TIME = "%Y%m%dT%H%M%SZ"
"""The form of the time with which a number begins."""
_TO_THE_SECOND = len("2026-01-31T12:00:00")


def begun_at(run_id: str, at: str) -> str:
    """Return when a run was begun, as text that sorts by time; in whole seconds by its number.

    Its record has the time of its bench, `at`, which goes by the simulator's own clock for a
    simulated one; it counts where the number has another form.
    """
    told = time_in_number(run_id)
    return at if told is None else sortable_time(told)


def time_in_number(run_id: str) -> datetime | None:
    """Return the time with which a number begins; None for one of another form."""
    try:
        return datetime.strptime(run_id.partition("-")[0], NUMBER_TIME).replace(tzinfo=UTC)
    except ValueError:
        return None


def is_since(begun: str, since: str) -> bool:
    """Whether a run was begun at this time or later, to the second; both sort by time."""
    return begun[:_TO_THE_SECOND] >= since[:_TO_THE_SECOND]
