"""What a policy has made up its mind to do, in order."""

from __future__ import annotations

from collections import deque

from ohmwright.estimation.point import PointSpec

from .actions import Action, Release
from .trim import Trim


class ActionQueue:
    """Actions still to be asked for; knows whether the unit takes a move while RF is on."""

    def __init__(self, spec: PointSpec, trim: Trim) -> None:
        self._spec, self._trim = spec, trim
        self._due: deque[Action] = deque()

    def __len__(self) -> int:
        return len(self._due)

    def pop(self) -> Action:
        """The next action."""
        return self._due.popleft()

    def rest(self) -> None:
        """Switch off and rest."""
        self._due.append(Release(self._spec.rest_s))

    def rest_at_once(self) -> None:
        """RF has gone off by itself: whatever was meant to be done is off."""
        self._due.clear()
        self.rest()

    def stop(self) -> None:
        """Switch off for good."""
        self._due.append(Release(0.0))

    def move(self, action: Action, *, on: bool) -> None:
        """Move; where the unit takes it only with RF off, switch off before."""
        if on and not self._spec.moves_while_on:
            self.rest()
        self._due.append(action)

    def move_and_rest(self, action: Action | None) -> None:
        """A last move, if any, then off; the other way round where the unit wants it so."""
        if action is not None and self._spec.moves_while_on:
            self._due.append(action)
        self.rest()
        if action is not None and not self._spec.moves_while_on:
            self._due.append(action)

    def put_back(self, *, on: bool) -> None:
        """The trim to where it was at the start."""
        back = self._trim.back()
        if back and on and not self._spec.moves_while_on:
            self.rest()
        self._due.extend(back)
