"""What `doctor` found, in three states: seen to be good, not seen, seen not to be good."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from rich.text import Text

State = Literal["good", "not checked", "NOT GOOD"]
FILES = 2
LINK = 3
_STYLES: dict[State, str] = {"good": "green", "not checked": "yellow", "NOT GOOD": "bold red"}


@dataclass(frozen=True)
class Finding:
    """One check and what it found; `code` is what the command ends with for its sake."""

    check: str
    state: State
    detail: str
    code: int = 0

    @property
    def styled(self) -> Text:
        """The state as a table shows it."""
        return Text(self.state, style=_STYLES[self.state])


def good(check: str, detail: str = "") -> Finding:
    """It was seen to be as it should."""
    return Finding(check, "good", detail)


def not_checked(check: str, how: str) -> Finding:
    """It was not seen; `how` says why, or how it can be."""
    return Finding(check, "not checked", how)


def not_good(check: str, detail: str, code: int = LINK) -> Finding:
    """It was seen not to be as it should, by the instrument (LINK) or in the files (FILES)."""
    return Finding(check, "NOT GOOD", detail, code)
