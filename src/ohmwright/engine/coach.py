"""Coaches a person at the keys: says what to press, and lets the readings say what was pressed.

Nobody confirms anything: a cue stands while the readings go on, and is replaced when they have
shown what was done. What they have not shown is not put on record as done.
"""

from __future__ import annotations

from collections.abc import Callable

from ohmwright.adjustment.actions import Press
from ohmwright.adjustment.point import Keys
from ohmwright.adjustment.policy import AdjustPolicy
from ohmwright.adjustment.press_hypotheses import Suspect
from ohmwright.adjustment.press_reports import PressReports
from ohmwright.adjustment.press_seen import PressesSeen
from ohmwright.model.cue import Cue, CueKind

from .coach_words import (
    COMES_ON,
    CONFIRMING,
    HOLD,
    NOBODY,
    RESTING,
    cue_to_press,
    is_slip,
    merged,
    presses_words,
    said_again,
    seen_words,
    unsure_words,
)
from .session import Session
from .watched_rest import wait_with_rf_off

THE_METER, NOT_SURE = "the meter", "the meter, which could not rule out a wrong press"
"""Who told of presses: readings that could tell them from a slip, or that could not."""
_CREDIBLE = 0.1
"""Probability of presses as asked with which they are kept so where the readings are not sure."""
_BEGIN_S, _EACH_S = 7.0, 1.0
"""Time given to begin with presses, and for each of them."""
_MOST_UNSEEN = 2
"""How many cues in a row may show nothing and be given again, before RF goes off."""
_MOST_UNTOLD = 4
"""The same, where the meter cannot tell presses from nothing: with RF off and on again it may."""

NotePress = Callable[[Press, float | None, str], None]
"""Takes presses that were made, their age (None with RF off), and who told of them."""


class Coach:
    """Cues for the presses of one point; `note` is called with what the meter has shown."""

    def __init__(self, session: Session, policy: AdjustPolicy, keys: Keys, note: NotePress) -> None:
        self._session, self._policy, self._keys, self._note = session, policy, keys, note
        self._reports = PressReports(policy, keys)
        self._asked: Press | None = None
        self._unseen = 0
        self._untold = False
        """Whether the meter could not tell the presses of the last cue from nothing."""
        self._seen = ""
        self._before_rf: list[Press] = []
        self._cued_before: Press | None = None
        self.nobody_acts = False
        """Whether nothing came of cues: presses are asked for and confirmed from then on."""

    @property
    def waits(self) -> bool:
        """Whether RF is on and the presses of a cue have not shown yet."""
        return self._asked is not None

    def use_policy(self, policy: AdjustPolicy) -> None:
        """Report to `policy` from now on, where the point is begun anew."""
        self._policy, self._reports = policy, PressReports(policy, self._keys)

    def at_most(self, press: Press) -> Press:
        """Return as many of the presses as may be asked for at once, by what is known so far."""
        return self._reports.at_most(press)

    # with RF on

    def activated(self) -> None:
        """RF has come on: look for the presses that were made before."""
        self._reports.activated(tuple(self._before_rf))
        self._cued_before = None
        self._show(CONFIRMING if self._policy.to_confirm else HOLD)

    def has_time_for(self, press: Press, left_s: float) -> bool:
        """Return whether presses can be made and seen in the time left of the activation."""
        return left_s > _BEGIN_S + _EACH_S * abs(press.times)

    def ask(self, press: Press, age_s: float) -> None:
        """Cue `press`, and look for it from now on.

        Not where it is only told now what was pressed before: then the policy decides anew.
        """
        if self._settle_before_rf():
            self._policy.decide_anew()
        else:
            self._cue_press(self._telling(press), age_s)

    def look(self, age_s: float, left_s: float) -> bool:
        """Look for presses after a reading; return whether RF may stay on for the `left_s` left.

        Where nothing came of several cues it must go off, and `take_unanswered` tells what was
        asked for.
        """
        seen = self._reports.look()
        if seen is None:
            return True
        if self._asked is None:
            self._take_before_rf(seen)
            return True
        self._seen = seen_words((self._asked,), seen)
        self._untold = not seen.presses and not seen.clearly_nothing
        if not seen.presses:
            return self._cue_again(self._telling(self._asked), age_s, left_s)
        self._asked, self._unseen = None, 0
        self._reports.report(seen)
        self._note_earlier(seen.suspect)
        for press in merged(seen):
            self._note(press, seen.presses[-1].age_s, _told_by(seen))
        self._forget_open_request()
        self._show_seen(seen)
        return True

    def _telling(self, press: Press) -> Press:
        """Return `press`, or twice as many where the meter could not tell of the last ones."""
        return self._reports.twice(press) if self._untold else press

    def _cue_again(self, press: Press, age_s: float, left_s: float) -> bool:
        self._unseen += 1
        if self._unseen > _MOST_UNSEEN:
            self.nobody_acts = not self._untold or self._unseen > _MOST_UNTOLD
            if self.nobody_acts:
                self._show(NOBODY)
            return False
        if self.has_time_for(press, left_s):
            self._cue_press(press, age_s)
            return True
        self._asked = None
        self._policy.presses_over()
        self._forget_open_request()
        return False

    def _cue_press(self, press: Press, age_s: float) -> None:
        self._asked = press
        self._reports.cued(press, age_s)
        cue = cue_to_press(press, self._seen, rf_on=True, to_learn=not self._reports.knows_its_keys)
        is_more = press == self._cued_before and self._unseen == 0
        self._show(said_again(cue) if is_more else cue)
        self._cued_before = press
        self._note_open_request((press,))

    def _show_seen(self, seen: PressesSeen) -> None:
        kind: CueKind = "notice" if is_slip(seen) else "hold"
        self._show(Cue(kind, f"{self._seen} {HOLD.words}", seen=self._seen))

    # with RF off

    def released(self) -> None:
        """RF is off: what the activation has shown by then of presses before it is taken."""
        self._settle_before_rf()
        if not self.nobody_acts:
            self._show(RESTING)

    def take_unanswered(self) -> Press | None:
        """Return the presses of cues that nobody acted on, if any; ask for them.

        Where RF went off before the readings told, the next activation shows what was done.
        """
        asked, self._asked = self._asked, None
        if asked is None:
            return None
        self._policy.presses_over()
        self._forget_open_request()
        if self.nobody_acts:  # they are asked for with a typed answer from now on
            self._session.show_cue(None)
            return asked
        if not self._reports.probably_nothing:
            self._report_before_rf(asked)
        self._reports.watch = None
        return None

    async def ask_before_rf(self, press: Press) -> None:
        """RF is off: cue `press`, wait as long as it takes, and report it as asked for now.

        The next activation shows what was done.
        """
        self._show(cue_to_press(press, self._seen, rf_on=False))
        self._report_before_rf(press)
        await wait_with_rf_off(self._session, _BEGIN_S + _EACH_S * abs(press.times))

    def _report_before_rf(self, press: Press) -> None:
        """Report presses as done with RF off, until an activation shows what was done."""
        self._before_rf.append(press)
        self._note_open_request(tuple(self._before_rf))
        for _ in range(abs(press.times)):
            self._policy.pressed(0.0, press.key, 1 if press.times > 0 else -1)

    def take_unseen(self) -> tuple[Press, ...]:
        """Return the presses cued with RF off that no activation has shown; they must be told."""
        unseen = tuple(self._before_rf)
        self._before_rf.clear()
        self._forget_open_request()
        return unseen

    def _settle_before_rf(self) -> bool:
        """Take what the activation has shown so far of the presses before it, sure or not.

        Returns whether the policy was told of them.
        """
        watch = self._reports.watch
        seen = None if watch is None or watch.cue_s is not None else watch.at_the_end()
        if seen is None:
            return False
        told = seen.told_apart or seen.as_asked < _CREDIBLE
        if told:
            self._take_before_rf(seen)
        else:
            self._take_as_asked(seen)
        return told

    def _take_before_rf(self, seen: PressesSeen) -> None:
        """Put on record what the meter has shown of presses that were made with RF off."""
        asked = tuple(self._before_rf)
        self._seen = seen_words(asked, seen)
        self._reports.report(seen)
        self._note_earlier(seen.suspect)
        for press in merged(seen):
            self._note(press, None, _told_by(seen))
        self._before_rf.clear()
        self._forget_open_request()
        if is_slip(seen):
            self._show_seen(seen)

    def _note_earlier(self, suspect: Suspect | None) -> None:
        """Put on record what earlier presses were more than was noted of them."""
        if suspect is None:
            return
        fine = suspect.counts - suspect.coarse * self._keys.coarse_counts
        for press in (Press("coarse", suspect.coarse), Press("fine", fine)):
            if press.times != 0:
                self._note(press, None, THE_METER)

    def _take_as_asked(self, seen: PressesSeen) -> None:
        """The activation could not tell the presses from a slip: no more is said of them."""
        self._seen = unsure_words(tuple(self._before_rf))
        for press in self._before_rf:
            self._note(press, None, NOT_SURE)
        self._reports.leave_as_asked(seen)
        self._before_rf.clear()
        self._forget_open_request()

    # what is shown, and what a person must know if the run ends now

    def rf_comes_on(self) -> None:
        """The rest is over."""
        self._show(COMES_ON)

    def _show(self, cue: Cue) -> None:
        self._session.show_cue(cue)

    def _note_open_request(self, asked: tuple[Press, ...]) -> None:
        if self._session.service is not None:
            self._session.service.cued = f"Press {presses_words(asked)}."

    def _forget_open_request(self) -> None:
        if self._session.service is not None:
            self._session.service.cued = ""


def _told_by(seen: PressesSeen) -> str:
    return THE_METER if seen.told_apart else NOT_SURE
