"""A command of this program, as a person is advised to type it.

An advice may come from any room, while the records that a command works on are named on the command
line alone: they are kept here for as long as a command runs.
"""

from __future__ import annotations

import re
from contextvars import ContextVar
from shlex import quote

_given: ContextVar[str | None] = ContextVar("records", default=None)
_PASSWORD = re.compile(r"(?<=://)([^/@:]*):[^/@]*@")


def keep_given_records(place: str | None) -> None:
    """Keep what `--records` said on the command line; None where it said nothing."""
    _given.set(None if place is None else _PASSWORD.sub(r"\1@", place))


def records_option() -> str:
    """Return ` --records PLACE` as it was typed, without a password; empty where it was not."""
    place = _given.get()
    return "" if place is None else f" --records {quote(place)}"


def typed_command(words: str) -> str:
    """Return the command `ohmwright` with these words and the records that are worked on."""
    return f"ohmwright {words}{records_option()}"
