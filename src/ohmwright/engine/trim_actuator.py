"""The hand on a trim: carries out a policy's moves, tells it of them, and notes them as events."""

from __future__ import annotations

from functools import partial

import anyio

from ohmwright.adjustment.actions import Move, Press
from ohmwright.adjustment.policy import AdjustPolicy
from ohmwright.instruments.requests import CountPresses, PressKey
from ohmwright.model.event import TrimMoved

from .activation import Activation
from .session import Session
from .until_link_fails import done_before_link_failure

_MOST_PRESSES = 20
"""At once: who has pressed nothing so far must not be led to press far too much."""
_PRESS_S = 0.4
"""A person presses a key about so often, and says so right after the last press."""


class TrimActuator:
    """Moves the trim of one point, by port or by the person's keys. RF may be on."""

    def __init__(self, session: Session, policy: AdjustPolicy, point: str, trim: int) -> None:
        self._session, self._policy, self._point = session, policy, point
        self.trim = trim
        """Where the unit says that the trim stands, or the presses have brought it."""
        self._unanswered: Press | None = None

    async def carry_out(
        self,
        action: Move | Press,
        opened: Activation | None = None,
        current_ma: float | None = None,
    ) -> bool:
        """Move the trim; the policy hears at which age of the activation it was.

        False when a person has not answered within the activation's limit: RF must go off then,
        whatever they do, and `ask_again` comes next.
        """
        before_s = 0.0 if opened is None else opened.age_s
        generator, action = self._session.bench.generator, _no_more_than_sane(action)
        if isinstance(action, Move):
            before, self.trim = self.trim, await generator.move_trim(action.counts)
            after_s = 0.0 if opened is None else opened.age_s
            self._policy.moved((before_s + after_s) / 2, self.trim - before)
        else:
            if not await self._pressed(action, opened):
                self._unanswered = action
                return False
            after_s = 0.0 if opened is None else opened.age_s
            self._tell_presses(action, before_s, after_s)
        self._note(action, None if opened is None else after_s, current_ma)
        return True

    def follow(self, policy: AdjustPolicy) -> None:
        """From now on `policy` is told: the point has been begun anew."""
        self._policy = policy

    async def put_back(self, trim: int) -> None:
        """Bring the trim back to `trim`, with RF off."""
        if self.trim != trim:
            await self.carry_out(Move(trim - self.trim))

    async def _pressed(self, action: Press, opened: Activation | None) -> bool:
        """Whether the person answers within the limit; meanwhile nothing is asked of the meter."""
        bench = self._session.bench
        if opened is None:
            await bench.generator.press(action.key, action.times)
            return True
        await bench.analyzer.begin_watch(opened.left_s)
        press = partial(bench.generator.press, action.key, action.times)
        answered = False
        with anyio.move_on_after(opened.left_s):
            answered = await done_before_link_failure(press, bench.analyzer.until_failed)
        await bench.analyzer.begin_watch()
        return answered

    async def ask_again(self) -> None:
        """With RF off: how many of the presses that were not answered for are done; the rest now.

        Where all moves and presses of the unit stand is on record at any time after this.
        """
        action, self._unanswered = self._unanswered, None
        if action is None:
            return
        bench, sign = self._session.bench, 1 if action.times > 0 else -1
        asked = PressKey(action.key, "up" if sign > 0 else "down", abs(action.times))
        answer = await bench.operator.carry_out(CountPresses(asked))
        done = sign * int(answer.word)
        self._pressed_unseen(Press(action.key, done))
        await bench.generator.press(action.key, action.times - done)
        self._pressed_unseen(Press(action.key, action.times - done))

    def _pressed_unseen(self, action: Press) -> None:
        """Presses that were done at a time unknown or with RF off; perhaps none."""
        if action.times != 0:
            self._tell_presses(action, 0.0, 0.0)
            self._note(action, None, None)

    def _tell_presses(self, action: Press, before_s: float, after_s: float) -> None:
        """The presses were spread over the time just before the person said they were done."""
        presses = abs(action.times)
        self.trim += self._counts(action)
        each_s = min(_PRESS_S, (after_s - before_s) / presses)
        for left in reversed(range(presses)):
            self._policy.pressed(after_s - left * each_s, action.key, action.times // presses)

    def _note(self, action: Move | Press, age_s: float | None, current_ma: float | None) -> None:
        self._session.notes.add(
            TrimMoved(
                **self._session.stamp(),
                point=self._point,
                counts=self._counts(action),
                current_ma=current_ma,
                age_s=None if age_s is None else round(age_s, 3),
                key=action.key if isinstance(action, Press) else None,
                told_by=self._session.told_by,
            )
        )
        service = self._session.service
        if service is not None:
            service.note(action)

    def _counts(self, action: Move | Press) -> int:
        """Counts moved; a coarse press as the data say it counts."""
        if isinstance(action, Move):
            return action.counts
        keys = self._policy.spec.keys
        coarse = action.key == "coarse" and keys is not None
        return action.times * (keys.coarse_counts if coarse and keys is not None else 1)


def _no_more_than_sane(action: Move | Press) -> Move | Press:
    """The same, or as many presses of it as are asked for at once."""
    if isinstance(action, Move) or abs(action.times) <= _MOST_PRESSES:
        return action
    return Press(action.key, _MOST_PRESSES if action.times > 0 else -_MOST_PRESSES)
