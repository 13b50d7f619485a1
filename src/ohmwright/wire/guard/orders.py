"""What a guard is told: how to send OFF, and which replies mean that the output is off.

Needs the standard library only, for the guard's process.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ohmwright.wire.frame_layout import FrameLayout

ZERO = r"\s*[+-]?(?:0+\.?0*|\.0+)(?:[eE][+-]?\d+)?\s*"
NUMBER = r"\s*[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?\s*"
PLAIN_LINE = FrameLayout()


@dataclass(frozen=True)
class ReleaseOrders:
    """The messages that release the output and read it back, as bytes on the line."""

    off: bytes
    question: bytes
    """What makes the instrument say its state: a question, or what starts its stream."""
    reply: FrameLayout = PLAIN_LINE
    form: str = NUMBER
    """A regular expression for replies that say the state."""
    reads_off: str = ZERO
    """A regular expression for those of them that say off."""
    streamed: bool = False
    """Whether lines come by themselves, so that a reply is looked for among them."""
    off_answer: str = ""
    """A regular expression for the reply to `off` that says it was done; empty: none is known."""
    unfinished: bytes = b""
    """Sent right before OFF, to end a message that was broken off; empty: OFF goes out alone."""
    echo: bytes = b""
    """What comes back of the question before its reply; empty where nothing does."""
    opening: tuple[bytes, ...] = ()
    """Messages before OFF where a first OFF did not help: the instrument may have left remote
    control."""
    closing: tuple[bytes, ...] = ()
    """Messages after a release, where the engine is gone."""
    pause_s: float = 0.0
    """The silence that the instrument needs before each message."""
    timeout_s: float = 1.0
    """How long the state may take to come."""

    def as_json(self) -> dict[str, Any]:
        """Itself as plain data; `from_json` reads it."""
        return {
            **{name: getattr(self, name).decode("latin-1") for name in _BYTES},
            **{name: [each.decode("latin-1") for each in getattr(self, name)] for name in _LISTS},
            **{name: getattr(self, name) for name in _PLAIN},
            "reply": self.reply.as_orders(),
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> ReleaseOrders:
        """The orders that `as_json` wrote."""
        raw: dict[str, Any] = {name: data[name].encode("latin-1") for name in _BYTES}
        lists: dict[str, Any] = {
            name: tuple(each.encode("latin-1") for each in data[name]) for name in _LISTS
        }
        plain: dict[str, Any] = {name: data[name] for name in _PLAIN}
        return cls(**raw, **lists, **plain, reply=FrameLayout.from_orders(data["reply"]))

    def says_off(self, body: bytes) -> bool | None:
        """Whether the reply `body` says that the output is off; None where it says no state."""
        if re.fullmatch(self.reads_off.encode("latin-1"), body, re.DOTALL) is not None:
            return True
        form = re.fullmatch(self.form.encode("latin-1"), body, re.DOTALL)
        return None if form is None else False

    def says_taken(self, body: bytes) -> bool:
        """Whether the reply `body` to OFF says that it was done, where `off_answer` is known."""
        return re.fullmatch(self.off_answer.encode("latin-1"), body, re.DOTALL) is not None


_BYTES = ("off", "unfinished", "question", "echo")
_LISTS = ("opening", "closing")
_PLAIN = ("form", "reads_off", "off_answer", "streamed", "pause_s", "timeout_s")
