"""What every kind of line says when it fails: one wording, one family each."""

from __future__ import annotations

from ohmwright.model.errors import LinkError, LinkLost, LinkTimeout


def lost(name: str, why: str) -> LinkLost:
    """The line is gone."""
    return LinkLost(
        f"The line to {name} is gone: {why}.",
        "What the instrument does now cannot be known.",
        "Look whether its output is on; check power and cable, then start again.",
    )


def silent(name: str, timeout_s: float) -> LinkTimeout:
    """Nothing came."""
    return LinkTimeout(f"{name}: nothing came within {timeout_s:g} s.")


def not_taken(name: str, sent: int, data: bytes, timeout_s: float) -> LinkTimeout:
    """The line did not take all bytes."""
    return LinkTimeout(
        f"{name} took {sent} of {len(data)} bytes within {timeout_s:g} s.",
        "The instrument did not get the whole message.",
        "Check flow control and cable, and that the instrument is on.",
    )


def not_opened(name: str, why: str, do: str) -> LinkError:
    """The line could not be opened at all."""
    return LinkError(f"{name} could not be opened: {why}.", "Nothing was sent.", do)
