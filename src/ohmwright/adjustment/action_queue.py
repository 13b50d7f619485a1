"""The actions that a policy has decided on and not yet handed out, in order."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from ohmwright.adjustment.point import PointSpec

from .actions import Action, Release
from .trim import Trim


class ActionQueue:
    """Actions still to be handed out; a move that needs RF off comes after a rest."""

    def __init__(self, spec: PointSpec, trim: Trim) -> None:
        self._spec, self._trim = spec, trim
        self._actions: deque[Action] = deque()

    def __len__(self) -> int:
        return len(self._actions)

    def pop(self) -> Action:
        """The next action, which leaves the queue."""
        return self._actions.popleft()

    def rest(self) -> None:
        """Add: RF off, then the point's rest."""
        self._actions.append(Release(self._spec.rest_s))

    def drop_all(self) -> None:
        """Forget all actions."""
        self._actions.clear()

    def drop_all_and_rest(self) -> None:
        """Replace all actions by a rest: RF has gone off by itself."""
        self.drop_all()
        self.rest()

    def release(self) -> None:
        """Add: RF off, without a rest."""
        self._actions.append(Release(0.0))

    def move(self, actions: Sequence[Action], *, rf_on: bool) -> None:
        """Add moves, after a rest where RF is on and the unit's trim cannot be moved then."""
        if actions and rf_on and not self._spec.moves_while_on:
            self.rest()
        self._actions.extend(actions)

    def rest_with_last_moves(self, actions: Sequence[Action]) -> None:
        """Add moves and a rest.

        The rest comes first where the trim cannot be moved with RF on, and where a person presses
        keys: RF then does not wait for their hands.
        """
        at_once = self._spec.moves_while_on and self._spec.keys is None
        if at_once:
            self._actions.extend(actions)
        self.rest()
        if not at_once:
            self._actions.extend(actions)

    def return_to(self, counts: int, coarse: int, *, rf_on: bool) -> None:
        """Add what brings the trim to a position, after a rest where it needs RF off."""
        self.move(self._trim.return_to(counts, coarse), rf_on=rf_on)
