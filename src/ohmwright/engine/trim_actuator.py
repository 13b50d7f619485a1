"""Moves a trim as the policy asks, by port or person; reports each move and puts it on record.

A person is coached where the meter can show what they press, and else asked to confirm it.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from functools import partial
from math import isnan
from typing import NoReturn

import anyio

from ohmwright.adjustment.actions import Move, Press
from ohmwright.adjustment.policy import AdjustPolicy
from ohmwright.instruments.operator import SkipStep
from ohmwright.instruments.requests import ANOTHER, CountPresses, PressKey
from ohmwright.model.errors import ExcessiveOutput, LinkError
from ohmwright.model.event import TrimMoved

from .activation import Activation
from .coach import NOT_SURE, THE_METER, Coach
from .session import Session
from .watched_work import done_while_watched

_MOST_PRESSES = 20
"""Most presses asked for at once: more, on top of presses that nobody told of, would move the
output far too much."""
_PRESS_S = 0.4
"""Time that a person takes for a press; the last one is taken to end as they confirm."""
_ANSWER_S, _ANSWER_EACH_S = 10.0, 1.0
"""Longest time that RF stays on for a typed answer, and more for each press: until the answer comes
it is not known at which trim a reading was taken."""
_LOOK_EVERY_S = 0.5
"""Time between two readings of the current while an answer, or the unit's port, is awaited: far too
much may flow."""


class TrimActuator:
    """Moves the trim of one point, by port or by a person's key presses; RF may be on."""

    def __init__(self, session: Session, policy: AdjustPolicy, point: str, trim: int) -> None:
        self._session, self._policy, self._point = session, policy, point
        self.trim = trim
        """Count at which the trim stands: as the unit says, or by the presses confirmed."""
        self._unanswered_press: Press | None = None
        self._longest_move_s = 0.0
        """Of a move by the port while RF was on, until it read back."""
        self._told_by = dict[str, None]()
        self._coach = self._coach_of_bench()

    def _coach_of_bench(self) -> Coach | None:
        """Return who coaches the person at the keys; None where nobody is to be coached."""
        bench = self._session.bench
        readings_show = bench.operator.follows_cues and not bench.analyzer.read_by_eye
        if bench.generator.unattended or not readings_show or self._policy.spec.keys is None:
            return None
        return Coach(self._session, self._policy, self._policy.spec.keys, self.note_shown)

    @property
    def told_by(self) -> str | None:
        """Who told of the moves: the person, the meter, or both; None where they were read back.

        A meter that was not sure once stands for the meter.
        """
        names = list(self._told_by)
        if NOT_SURE in names:
            names = [name for name in names if name != THE_METER]
        return " and ".join(names) or self._session.told_by

    @property
    def presses_are_sure(self) -> bool:
        """Whether no press was told by readings that could not rule out a wrong one."""
        return NOT_SURE not in self._told_by

    @property
    def coach(self) -> Coach | None:
        """Who coaches the person; None where presses are asked for and confirmed, or by port."""
        return None if self._coach is None or self._coach.nobody_acts else self._coach

    @property
    def waits(self) -> bool:
        """Whether the presses of a cue have not shown yet; meanwhile readings are taken."""
        return self._coach is not None and self._coach.waits

    async def carry_out(
        self,
        action: Move | Press,
        opened: Activation | None = None,
        current_ma: float | None = None,
    ) -> bool:
        """Move the trim, and report to the policy the age of the activation at which it moved.

        Of presses that a coach cues it reports nothing: they are reported as the meter shows them.
        Returns False where RF must go off, since a person has not answered while RF may wait for
        them, or since too little time is left for a cue or a slow port;
        `resolve_unanswered_presses` must be called next. `current_ma`: the reading before the
        move, for the record.
        """
        # once the policy has ended, no reading follows that could show presses: they are confirmed
        if isinstance(action, Press) and self.coach is not None and self._policy.end is None:
            return await self._cue(self.coach, self.coach.at_most(action), opened)
        before_s = 0.0 if opened is None else opened.age_s
        generator, action = self._session.bench.generator, _at_most_at_once(action)
        if isinstance(action, Move):
            if opened is not None and opened.left_s < self._longest_move_s:
                return False
            before, said = self.trim, await self._moved_by_port(action.counts, opened)
            self.trim = said if generator.unattended else before + action.counts
            after_s = 0.0 if opened is None else opened.age_s
            self._longest_move_s = max(self._longest_move_s, after_s - before_s)
            self._policy.moved((before_s + after_s) / 2, self.trim - before)
        else:
            if not await self._press_answered(action, opened):
                self._unanswered_press = action
                return False
            after_s = 0.0 if opened is None else opened.age_s
            self._report_presses(action, before_s, after_s)
        self._add_event(action, None if opened is None else after_s, current_ma)
        return True

    async def _moved_by_port(self, counts: int, opened: Activation | None) -> int:
        """Move the trim; what the unit says of it. A slow port leaves no RF that nobody watches.

        Raises LinkError where the analyzer's line fails meanwhile, and ExcessiveOutput.
        """
        bench, said = self._session.bench, 0

        async def move() -> None:
            nonlocal said
            said = await bench.generator.move_trim(counts)

        if opened is None or bench.analyzer.read_by_eye:
            await move()
            return said
        await bench.analyzer.begin_watch(_LOOK_EVERY_S)
        await done_while_watched(move, partial(self._watch_current, opened))
        await bench.analyzer.begin_watch()
        return said

    async def _cue(self, coach: Coach, press: Press, opened: Activation | None) -> bool:
        """Cue presses; return False, without a cue, where RF is on too short a time for them."""
        if opened is None:
            await coach.ask_before_rf(press)
        elif coach.has_time_for(press, opened.left_s):
            coach.ask(press, opened.age_s)
        else:
            self._policy.presses_over()
            return False
        return True

    def look(self, opened: Activation) -> bool:
        """Look for the presses of cues; return False where RF must go off, since nobody acts."""
        return self.coach is None or self.coach.look(opened.age_s, opened.left_s)

    def note_shown(self, press: Press, age_s: float | None, told_by: str) -> None:
        """Put presses on record that the meter has shown."""
        self.trim += self._counts(press)
        self._add_event(press, age_s, None, told_by)

    def use_policy(self, policy: AdjustPolicy) -> None:
        """Report moves to `policy` from now on, where the point is begun anew."""
        self._policy = policy
        if self._coach is not None:
            self._coach.use_policy(policy)

    def note_put_back(self, trim: int) -> None:
        """The trim is back at the count `trim`, since service mode was left without saving."""
        self.trim = trim
        if self._coach is not None:
            self._coach.take_unseen()  # whatever they were, they are undone

    async def put_back(self, trim: int) -> None:
        """Move the trim back to the count `trim`, with RF off."""
        if self.trim != trim:
            await self.carry_out(Move(trim - self.trim))

    async def _press_answered(self, action: Press, opened: Activation | None) -> bool:
        """Ask for presses; return whether the person answered while RF may wait for them.

        That is for some seconds, and within the activation's limit. The wait ends early where the
        analyzer's line fails or a foot switch is let go; raises ExcessiveOutput where far too much
        flows meanwhile.
        """
        bench = self._session.bench
        if opened is None:
            await bench.generator.press(action.key, action.times)
            return True
        wait_s = min(opened.left_s, _ANSWER_S + _ANSWER_EACH_S * abs(action.times))
        by_eye = bench.analyzer.read_by_eye
        await bench.analyzer.begin_watch(wait_s if by_eye else _LOOK_EVERY_S)
        watch = bench.analyzer.until_failed if by_eye else partial(self._watch_line, opened)
        answered = False

        async def press() -> None:
            # the limit stands within the work: a watch that it cancelled could not raise any more
            nonlocal answered
            with anyio.move_on_after(wait_s):
                await bench.generator.press(action.key, action.times)
                answered = True

        try:
            await done_while_watched(press, watch)
        except ExcessiveOutput:
            self._unanswered_press = action
            raise
        await bench.analyzer.begin_watch()
        return answered

    async def _watch_line(self, opened: Activation) -> None:
        """Return when the line fails or a foot switch is let go; raises ExcessiveOutput."""
        with suppress(LinkError):  # FootSwitchLetGo is one, too
            await self._watch_current(opened)

    async def _watch_current(self, opened: Activation) -> NoReturn:
        """Look at the current until it is cancelled; raises LinkError and ExcessiveOutput."""
        analyzer = self._session.bench.analyzer
        while True:
            # what is waited for lives in real time; a virtual clock would run ahead
            await anyio.sleep(_LOOK_EVERY_S)  # noqa: TID251
            with anyio.CancelScope(shield=True):
                reading = await analyzer.fetch_current()
            if not isnan(reading.current_ma):
                opened.note_current(reading.current_ma)

    async def resolve_unanswered_presses(self) -> None:
        """Ask, with RF off, how many of the unanswered presses were done, and have the rest done.

        After this all presses are on record. Does nothing where none are unanswered.
        """
        action, self._unanswered_press = self._unanswered_press, None
        if self._coach is not None:
            self._coach.released()
            action = action or self._coach.take_unanswered()
        if action is not None:
            await self._count_presses(action, self._report_untimed_presses)

    async def tell_unseen_presses(self) -> None:
        """Ask how many presses were done that were cued with RF off and that nothing has shown."""
        if self._coach is None:
            return
        for press in self._coach.take_unseen():
            await self._count_presses(press, self._note_told)

    def _note_told(self, press: Press) -> None:
        """Put presses on record that were reported to the policy when they were cued."""
        if press.times != 0:
            self.note_shown(press, None, self._session.bench.operator.name)

    async def _count_presses(self, action: Press, note: Callable[[Press], None]) -> None:
        """Ask how many of these presses were done, and have the rest done; `note` takes them."""
        bench, sign = self._session.bench, 1 if action.times > 0 else -1
        asked = PressKey(action.key, "up" if sign > 0 else "down", abs(action.times))
        answer = await bench.operator.carry_out(CountPresses(asked))
        if answer == ANOTHER:
            self._give_up_unknown(asked)
        done = sign * int(answer.word)
        note(Press(action.key, done))
        await bench.generator.press(action.key, action.times - done)
        note(Press(action.key, action.times - done))

    def _give_up_unknown(self, asked: PressKey) -> NoReturn:
        """Raise SkipStep: where the trim stands is not known, and leaving unsaved undoes it."""
        if self._session.service is not None:
            self._session.service.cued = asked.text
        name = self._session.bench.operator.name
        raise SkipStep(f"what was pressed at {self._point} is not known, as told by {name}")

    def _report_untimed_presses(self, action: Press) -> None:
        """Report presses of unknown time, or with RF off, and put them on record; none if 0."""
        if action.times != 0:
            self._report_presses(action, 0.0, 0.0)
            self._add_event(action, None, None)

    def _report_presses(self, action: Press, before_s: float, after_s: float) -> None:
        """Report presses to the policy, spread over the time just before they were confirmed."""
        presses, sign = abs(action.times), 1 if action.times > 0 else -1
        self.trim += self._counts(action)
        each_s = min(_PRESS_S, (after_s - before_s) / presses)
        for left in reversed(range(presses)):
            self._policy.pressed(after_s - left * each_s, action.key, sign)

    def _add_event(
        self,
        action: Move | Press,
        age_s: float | None,
        current_ma: float | None,
        told_by: str | None = None,
    ) -> None:
        told_by = told_by or self._session.told_by
        if told_by is not None:
            self._told_by[told_by] = None
        self._session.pending.add(
            TrimMoved(
                **self._session.stamp(),
                point=self._point,
                counts=self._counts(action),
                current_ma=current_ma,
                age_s=None if age_s is None else round(age_s, 3),
                key=action.key if isinstance(action, Press) else None,
                told_by=told_by,
            )
        )
        service = self._session.service
        if service is not None:
            service.add_move(action)

    def _counts(self, action: Move | Press) -> int:
        """Return the counts of a move; a coarse press is worth what the unit's data say."""
        if isinstance(action, Move):
            return action.counts
        keys = self._policy.spec.keys
        if action.key == "fine" or keys is None:
            return action.times
        return action.times * keys.coarse_counts


def _at_most_at_once(action: Move | Press) -> Move | Press:
    """Return `action`, with presses limited to as many as are asked for at once."""
    if isinstance(action, Move) or abs(action.times) <= _MOST_PRESSES:
        return action
    return Press(action.key, _MOST_PRESSES if action.times > 0 else -_MOST_PRESSES)
