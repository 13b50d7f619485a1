"""How a guard switches the output off and reads it back, as bytes; nothing that runs."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class ReleaseOrders:
    """The bytes that release the output of an analyzer which a back end works."""

    off: bytes
    """OFF, which may be sent at any time and as often as need be."""
    ask_state: bytes
    """The question for the state of the keying output."""
    off_replies: tuple[bytes, ...]
    """The whole replies that mean off, with what ends them; any other counts as on."""
    break_off: bytes = b""
    """Sent before OFF where this program may have ended in the middle of a message."""

    def __post_init__(self) -> None:
        replies = self.off_replies
        if not (self.off and self.ask_state and replies and all(replies)):
            raise ValueError("release orders need the bytes of OFF, a question, and an off reply")
