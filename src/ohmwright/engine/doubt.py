"""How doubts are resolved whether readings are the unit's answer to what was asked.

A lead that is off, standby, or a panel dialled otherwise must neither pass nor fail a unit: a
person is asked, or mode and setting are chosen and read back again and it is measured once more.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from functools import partial
from typing import Literal, NamedTuple

from ohmwright.instruments.doubt_requests import (
    AGAIN,
    CORRECTED,
    JOINED,
    UNKNOWN,
    WITHOUT,
    LookAtPanel,
    LookForCause,
)
from ohmwright.instruments.hand_requests import MeasureAgain
from ohmwright.instruments.operator import Operator
from ohmwright.model.result import Verdict

from .coach_words import CHANGED_NOTHING
from .session import Session

Doubt = Literal[
    "no output", "interrupted", "far off", "too much", "no leakage", "no effect", "no value"
]
VerdictAndReason = tuple[Verdict, str]
"""A verdict without a value, and its reason."""
WHAT_TO_CHECK = (
    "look at output lead, standby, mode and setting, neutral electrode alarm, keying contact"
)
_AS_TYPED = ", and the readings as you typed them"
"""Looked at where a person types them: a digit left out is a current that came and went."""
_UNIT_OR_SCALE = "unit and scale of the reading"
"""Looked at where nothing was seen: in the wrong one a current is read as none."""
_ASKED_AT_MOST, _NO_EFFECT_AT_MOST = 5, 2
"""Times that a person is asked about one doubt of one point, and about presses without effect, each
of which takes a whole activation."""


class OutputSetting(NamedTuple):
    """The mode and the setting to be chosen on the unit; its text is both of them."""

    mode: str
    setting_w: float

    def __str__(self) -> str:
        return f"{self.mode}, {self.setting_w:g} W"


class DoubtResolver:
    """Resolves the doubts of one point: each ends in another measurement, or in a verdict."""

    def __init__(
        self, session: Session, chosen: str, choose: Callable[[], Awaitable[object]]
    ) -> None:
        """`chosen`: mode and setting in words; `choose`: chooses them again by the unit's port."""
        self._session, self._chosen, self._choose = session, chosen, choose
        self._met: list[Doubt] = []
        """Doubts of earlier measurements of the point."""
        self._corrections = 0
        self.note = ""
        """What a person or the unit's port said of mode and setting, for the result's reason."""

    @classmethod
    def for_setting(cls, session: Session, chosen: OutputSetting) -> DoubtResolver:
        """Return a resolver for points measured at the mode and setting `chosen`."""
        return cls(session, str(chosen), partial(session.bench.generator.select, *chosen))

    async def resolve(self, doubt: Doubt, seen: str) -> VerdictAndReason | None:
        """Ask or check what the cause is; return None where the point is to be measured again.

        Else returns the verdict to be recorded instead of a value. `seen`: what was seen, in words;
        where that is too little, what the meter showed.
        """
        again = doubt in self._met
        self._met.append(doubt)
        if doubt in ("no output", "interrupted", "no leakage"):
            return await self._ask_for_cause(doubt, *self._looked_for(doubt, seen))
        if doubt == "no effect":
            return await self._resolve_no_effect(seen)
        if doubt == "no value":
            return await self._offer_to_measure_again(seen)
        if not again:
            return await self._check_setting(seen)
        return "fail", f"{seen}, twice; {self.note}"

    def is_accepted(self, doubt: Doubt | None) -> bool:
        """Return whether a measurement counts: there is no doubt, or it is far off a second time.

        A value that is far off again, after mode and setting were checked, is the unit's.
        """
        return doubt is None or (doubt == "far off" and doubt in self._met)

    def _looked_for(self, doubt: Doubt, shown: str) -> tuple[LookForCause, VerdictAndReason]:
        """Return what a person is to look at, and the verdict where all of that is in order.

        `shown`: what the meter showed, by which a wrong unit or scale of its readings is seen.
        """
        in_order = "lead, standby, mode and contact are in order"
        if doubt == "no leakage":
            what = f"no leakage current was seen, though RF flows into the load ({shown})"
            look = f"look at whether the leakage path is joined, {_UNIT_OR_SCALE}"
            asked = LookForCause(what, look, JOINED)
            return asked, ("pass", f"nothing leaks ({shown}); the leakage path is joined")
        if doubt == "interrupted":
            typed = self._session.bench.analyzer.read_by_eye
            look = f"{WHAT_TO_CHECK}{_AS_TYPED * typed}"
            asked = LookForCause(f"the current came and went at {self._chosen}", look)
            return asked, ("fail", f"the output comes and goes; {in_order}")
        what = f"no output was seen at {self._chosen} ({shown})"
        asked = LookForCause(what, f"{WHAT_TO_CHECK}, {_UNIT_OR_SCALE}")
        return asked, ("fail", f"no output ({shown}); {in_order}")

    async def _resolve_no_effect(self, point: str) -> VerdictAndReason | None:
        """Ask for the cause where presses that were confirmed have not changed the output."""
        asked = LookForCause(
            f"what was pressed {CHANGED_NOTHING}",
            f"look whether the unit is in service mode at point {point}, and press as told",
        )
        if_in_order: VerdictAndReason = (
            "fail",
            "the trim has no effect; service mode and keys are in order",
        )
        return await self._ask_for_cause("no effect", asked, if_in_order)

    async def _offer_to_measure_again(self, why: str) -> VerdictAndReason | None:
        """Ask whether to measure again where the readings that a person typed gave no value."""
        if self._met.count("no value") > _ASKED_AT_MOST:
            return "not measured", why
        answer = await self._session.bench.operator.carry_out(MeasureAgain(why, self._chosen))
        return ("not measured", why) if answer == WITHOUT else None

    async def _ask_for_cause(
        self, doubt: Doubt, asked: LookForCause, if_in_order: VerdictAndReason
    ) -> VerdictAndReason | None:
        operator = self._session.bench.operator
        most = _NO_EFFECT_AT_MOST if doubt == "no effect" else _ASKED_AT_MOST
        if self._met.count(doubt) > most:
            return unexplained_verdict(asked)
        return await verdict_by_cause(operator, asked, if_in_order)

    async def _check_setting(self, seen: str) -> VerdictAndReason | None:
        """Check mode and setting, by port or person; return None where to measure once more."""
        bench = self._session.bench
        if bench.generator.unattended:
            await self._choose()
            self.note = f"{self._chosen} chosen anew through the unit's port"
            return None
        answer = await bench.operator.carry_out(LookAtPanel(seen, self._chosen))
        if answer == UNKNOWN:
            return (
                "not measured",
                f"{seen}; nobody could tell whether panel, lead and load are as asked for",
            )
        by = f"as told by {bench.operator.name}"
        if answer != CORRECTED:
            self.note = f"the panel says {self._chosen}, and lead and load are as asked for, {by}"
            return None
        # what comes now is the first value of what was asked for: it may be doubted again
        self._met.clear()
        self._corrections += 1
        self.note = f"panel, lead or load were corrected before, {by}"
        return None if self._corrections < _ASKED_AT_MOST else ("not measured", seen)


async def verdict_by_cause(
    operator: Operator, asked: LookForCause, if_in_order: VerdictAndReason
) -> VerdictAndReason | None:
    """Ask a person for the cause; return None where the point is to be measured once more.

    Else returns `if_in_order` with the person's name where all that they checked is in order, and
    "not measured" where they cannot tell or nobody is there.
    """
    answer = await operator.carry_out(asked) if operator.present else UNKNOWN
    if answer == AGAIN:
        return None
    if answer == UNKNOWN:
        return unexplained_verdict(asked)
    verdict, reason = if_in_order
    return verdict, f"{reason}, as told by {operator.name}"


def unexplained_verdict(asked: LookForCause) -> VerdictAndReason:
    """Return "not measured" with what was seen and what is to be checked."""
    return "not measured", f"{asked.seen}: {asked.look}"
