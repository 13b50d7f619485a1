"""What an instrument said to OFF; whether RF is off is read back, and never taken from this."""

from __future__ import annotations

from typing import NamedTuple


class OffAnswer(NamedTuple):
    """The answer to an OFF that was sent."""

    taken: bool | None
    """Whether it says that OFF was done; None where no answer that says so is known."""
    said: str
    """What came instead, for a person; empty where nothing did, or where it was taken."""


NOTHING_TELLS = OffAnswer(None, "")
"""OFF is not acknowledged by this instrument, or none was sent."""
