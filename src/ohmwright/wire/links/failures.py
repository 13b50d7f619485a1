"""The errors that every kind of line raises, in one wording."""

from __future__ import annotations

from ohmwright.model.errors import LinkError, LinkLost, LinkTimeout


def lost(name: str, why: str) -> LinkLost:
    """The error for a line that is gone, for the reason `why`."""
    return LinkLost(
        f"The line to {name} is gone: {why}.",
        "What the instrument does now cannot be known.",
        "Look whether its output is on; check power and cable, then start again.",
    )


def silent(name: str, timeout_s: float) -> LinkTimeout:
    """The error for a read in which no byte came for `timeout_s`."""
    return LinkTimeout(f"{name}: nothing came within {timeout_s:g} s.")


def not_taken(name: str, sent: int, data: bytes, timeout_s: float) -> LinkTimeout:
    """The error for a write of which the line took only `sent` bytes."""
    return LinkTimeout(
        f"{name} took {sent} of {len(data)} bytes within {timeout_s:g} s.",
        "The instrument did not get the whole message.",
        "Check flow control and cable, and that the instrument is on.",
    )


def not_opened(name: str, why: str, do: str) -> LinkError:
    """The error for a line that could not be opened, with `do` as advice."""
    return LinkError(f"{name} could not be opened: {why}.", "Nothing was sent.", do)
