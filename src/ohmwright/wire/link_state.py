"""Whether the next reply on a line can be believed, and the transitions allowed."""

from __future__ import annotations

from enum import StrEnum


class LinkState(StrEnum):
    """Whether the next reply answers the next message."""

    SYNCED = "synced"
    """The next reply answers the next message."""
    SUSPECT = "suspect"
    """A reply may still be on its way: nothing is believed before a resynchronisation."""
    LOST = "lost"
    """The line is gone; it has to be found again, or a new one opened."""


_MAY_BECOME = {
    LinkState.SYNCED: frozenset({LinkState.SUSPECT, LinkState.LOST}),
    LinkState.SUSPECT: frozenset({LinkState.SUSPECT, LinkState.SYNCED, LinkState.LOST}),
    LinkState.LOST: frozenset({LinkState.LOST, LinkState.SUSPECT}),
}


def checked_transition(state: LinkState, to: LinkState) -> LinkState:
    """The state `to`. Raises RuntimeError where a line in `state` cannot become that."""
    if to not in _MAY_BECOME[state]:
        raise RuntimeError(f"a line that is {state.value} cannot become {to.value}")
    return to
