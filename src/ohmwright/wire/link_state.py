"""Whether a line's next reply can be believed, and that one task at a time asks."""

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


class OneTask:
    """A block that one task at a time may be in; two would read each other's replies."""

    def __init__(self, name: str) -> None:
        self._name, self._taken = name, False

    def __enter__(self) -> None:
        if self._taken:
            raise RuntimeError(f"two tasks speak to {self._name} at once; a bench has one task")
        self._taken = True

    def __exit__(self, *_: object) -> None:
        self._taken = False
