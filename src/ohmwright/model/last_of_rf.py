"""What this process last knew of RF, for whoever must say so after a crash.

A run knows RF by its bench; a crash is told where no bench is in reach any more.
"""

from __future__ import annotations

from datetime import datetime

_in_doubt = False
_read_off: datetime | None = None
_asked_for = False


def begin() -> None:
    """A new command: nothing has been sent or read."""
    global _in_doubt, _read_off, _asked_for
    _in_doubt, _read_off, _asked_for = False, None, False


def doubt() -> None:
    """ON is about to be sent, or RF was found on: until it reads off it is not known."""
    global _in_doubt, _asked_for
    _in_doubt = _asked_for = True


def read_off(at: datetime) -> None:
    """The output was read back as off, at this time of the bench's clock."""
    global _in_doubt, _read_off
    _in_doubt, _read_off = False, at


def is_unknown() -> bool:
    """Whether RF may be on: it was not read back as off since there was reason for doubt."""
    return _in_doubt


def was_asked_for() -> bool:
    """Whether this command has had RF on, or found it on."""
    return _asked_for


def in_words() -> str:
    """What is known, as a sentence."""
    if _in_doubt:
        return "RF MAY STILL BE ON: the output has not been read back as off."
    if _read_off is not None:
        return f"RF was last read back as off, at {_read_off:%H:%M:%S} UTC by the bench's clock."
    return "RF was never switched on by this command."
