"""Errors of the database drivers, translated into RecordError."""

from __future__ import annotations

from sqlalchemy.exc import DBAPIError

from ohmwright.model.errors import RecordError

_DAMAGED = (
    "Leave the file as it is, and make records of a copy at a new place: 'ohmwright record restore "
    "COPY --records PLACE', with COPY as 'ohmwright record backup' made it."
)
_AGAIN = "then try again; a run that was cut short can go on."
_HELD = f"End it, {_AGAIN}"
_ROOM = f"Make room, {_AGAIN}"
_CAUSES = (
    # what the database says, what happened, what to do
    ("there already", "another program has written to the same run", _HELD),
    ("append-only", "what is on record cannot be changed", "Add a new run instead."),
    ("unique", "another program has written to the same run", _HELD),
    ("is locked", "another program holds the record and did not let go", _HELD),
    ("lock timeout", "another program holds the record and did not let go", _HELD),
    ("readonly", "the record may not be written to", "Correct the permissions."),
    ("read-only", "the record may not be written to", "Correct the permissions."),
    (
        "permission denied",
        "this user of the database may not do that",
        "Ask who looks after it; 'ohmwright record roles' tells what each role may.",
    ),
    ("is full", "there is no room left on the disk", _ROOM),
    ("no space", "there is no room left on the disk", _ROOM),
    ("disk i/o error", "the disk failed, or is full", "See to the disk and its room, then go on."),
    ("not a database", "this is no record of ohmwright, or it is damaged", _DAMAGED),
    ("malformed", "the file is damaged", _DAMAGED),
    ("decode", "the file is damaged", _DAMAGED),
    (
        "unable to open",
        "it cannot be opened",
        "Check that file and folder are there and yours, and the limit of open files.",
    ),
)


def record_error(problem: Exception, place: str) -> RecordError:
    """The RecordError for an error of the database at `place`: cause, meaning, what to do."""
    said = str(problem.orig) if isinstance(problem, DBAPIError) else str(problem)
    said = " ".join(said.split())
    for sign, happened, do in _CAUSES:
        if sign in said.lower():
            means = _UNREADABLE if do is _DAMAGED else _MEANS
            return RecordError(f"{place}: {happened} ({said}).", means, do)
    do = f"Check the database and the way to it, {_AGAIN}"
    return RecordError(f"{place}: the database failed: {said}.", _MEANS, do)


_MEANS = "Nothing that was acknowledged is lost; RF is off while a record is written."
_UNREADABLE = "It cannot be read, so nobody knows what of it is lost. It is no evidence as it is."
