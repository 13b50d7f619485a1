"""How a person is told something while records are opened or a key is made."""

from __future__ import annotations

from collections.abc import Callable

Notify = Callable[[str], None]
"""Takes a sentence that a person should see."""


def no_notice(_: str) -> None:
    """Ignore a message that a person would otherwise be shown."""
