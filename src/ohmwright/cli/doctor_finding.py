"""A finding of the command `doctor`, and the exit code that it calls for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from rich.text import Text

FindingState = Literal["good", "stated", "not checked", "absent", "NOT GOOD"]
"""`good`, `NOT GOOD`: seen to be so. `stated`: a file says so. `absent`: the bench has it not."""
FILES = 2
"""Exit code of a fault in the files of the bench."""
LINK = 3
"""Exit code of a fault of an instrument or its line."""
_STYLES: dict[FindingState, str] = {
    "good": "green",
    "stated": "",
    "not checked": "yellow",
    "absent": "yellow",
    "NOT GOOD": "bold red",
}


@dataclass(frozen=True)
class Finding:
    """One check and its result; `code`: the exit code that it calls for."""

    check: str
    state: FindingState
    detail: str
    code: int = 0

    @property
    def styled(self) -> Text:
        """The state in its colour, for a table."""
        return Text(self.state, style=_STYLES[self.state])


def good(check: str, detail: str = "") -> Finding:
    """Return that something was seen to be right."""
    return Finding(check, "good", detail)


def not_checked(check: str, how: str) -> Finding:
    """Return that something was not checked; `how`: why, or how it can be."""
    return Finding(check, "not checked", how)


def stated(check: str, detail: str = "") -> Finding:
    """Return what the bench's files say, and nothing has shown."""
    return Finding(check, "stated", detail)


def absent(check: str, remedy: str = "") -> Finding:
    """Return that the bench lacks a protection; `remedy`: what would give it."""
    return Finding(check, "absent", remedy)


def not_good(check: str, detail: str, code: int = LINK) -> Finding:
    """Return that something was seen to be wrong; `code`: the exit code that it calls for."""
    return Finding(check, "NOT GOOD", detail, code)
