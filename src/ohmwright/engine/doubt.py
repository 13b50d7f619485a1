"""Does what was seen come from the unit as it was asked? What is in doubt is cleared up first.

A lead that is off, standby, or a panel dialled otherwise must neither pass nor fail a unit: a
person is asked, or mode and setting are chosen and read back anew and it is measured once more.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from functools import partial
from typing import Literal, NamedTuple

from ohmwright.instruments.operator import Operator
from ohmwright.instruments.requests import (
    AGAIN,
    CORRECTED,
    JOINED,
    UNKNOWN,
    LookAtPanel,
    LookForCause,
)
from ohmwright.model.result import Measured, Sample, Verdict
from ohmwright.model.tolerance import Target

from .session import Session

Doubt = Literal["no output", "far off", "too much", "no leakage", "no effect"]
AsTold = tuple[Verdict, str]
"""A verdict that needs no value, and its reason."""
LOOK_AT = "look at output lead, standby, mode and setting, neutral electrode alarm, keying contact"
_NEXT_TO_NOTHING = 0.1
"""A current below this part of what was asked for (1 % of the power) is no output."""
_FAR_TOLERANCES, _FAR_SHARE = 3.0, 0.25
_LATEST = 5
_ASKED_AT_MOST = 5


class Chosen(NamedTuple):
    """What was to be chosen on the unit."""

    mode: str
    setting_w: float

    def __str__(self) -> str:
        return f"{self.mode}, {self.setting_w:g} W"


def least_output_ma(session: Session, asked_ma: float) -> float:
    """A current at or below this, in mA, is no output where `asked_ma` was to flow."""
    return max(session.bench.rf.zero_limit_ma, _NEXT_TO_NOTHING * asked_ma)


def doubt_in(
    samples: Sequence[Sample],
    least_ma: float,
    excess: str = "",
    measured: Measured | None = None,
    target: Target | None = None,
) -> Doubt | None:
    """What speaks against readings being the unit's answer to what was asked; None if nothing.

    `least_ma`: see `least_output_ma`; `excess`: what ended the activation early, if too much
    flowed.
    """
    if excess:
        return "too much"
    if not samples:
        return None
    largest_ma = max(sample.current_ma for sample in samples[-_LATEST:])
    if largest_ma <= least_ma:
        return "no output"
    if measured is not None and target is not None and is_far(measured.value, target):
        return "far off"
    return None


def is_far(value: float, target: Target) -> bool:
    """Whether `value` is so far from its target that another setting explains it better.

    A limit that must not be passed asks for no value, so nothing is far from it.
    """
    if target.one_sided:
        return False
    allowed = (target.upper if value > target.value else target.lower) - target.value
    off = abs(value - target.value)
    return off > _FAR_TOLERANCES * abs(allowed) or off > _FAR_SHARE * target.value


class DoubtResolver:
    """Clears up the doubts of one point: each is followed by another measurement, or told."""

    def __init__(
        self, session: Session, chosen: str, choose: Callable[[], Awaitable[object]]
    ) -> None:
        """`chosen`: mode and setting as the panel says them; `choose` chooses them anew by port."""
        self._session, self._chosen, self._choose = session, chosen, choose
        self._met: list[Doubt] = []
        self._corrections = 0
        self.note = ""
        """What a person or the unit's port said of mode and setting; part of the reason."""

    @classmethod
    def of(cls, session: Session, chosen: Chosen) -> DoubtResolver:
        """For a mode at a setting."""
        return cls(session, str(chosen), partial(session.bench.generator.select, *chosen))

    async def resolve(self, doubt: Doubt, seen: str) -> AsTold | None:
        """What is to be recorded instead of a value; None: measure once more.

        `seen`: what was seen, in words. A value that is far off a second time is kept: then
        `stands` is true.
        """
        again = doubt in self._met
        self._met.append(doubt)
        if doubt in ("no output", "no leakage"):
            return await self._nothing(doubt)
        if doubt == "no effect":
            return await self._no_effect(seen)
        if not again:
            return await self._chosen_rightly(seen)
        return "fail", f"{seen}, twice; {self.note}"

    def stands(self, doubt: Doubt | None) -> bool:
        """Whether what was measured stands: without a doubt, or far off for the second time."""
        return doubt is None or (doubt == "far off" and doubt in self._met)

    async def _nothing(self, doubt: Doubt) -> AsTold | None:
        """No output, or no leakage at all though output flows."""
        if doubt == "no leakage":
            what = "no leakage current at all was seen, though RF flows into the load"
            asked = LookForCause(what, "look at whether the leakage path is joined", JOINED)
            known: AsTold = "pass", "nothing leaks; the leakage path is joined"
        else:
            asked = LookForCause(f"no output was seen at {self._chosen}", LOOK_AT)
            known = "fail", "no output; lead, standby, mode and contact are in order"
        return await self._cause(doubt, asked, known)

    async def _no_effect(self, point: str) -> AsTold | None:
        """Nothing that was said to be pressed changed the output."""
        asked = LookForCause(
            "what was pressed has changed nothing",
            f"look whether the unit is in service mode at point {point}, and press as told",
        )
        known: AsTold = "fail", "the trim has no effect; service mode and keys are in order"
        return await self._cause("no effect", asked, known)

    async def _cause(self, doubt: Doubt, asked: LookForCause, known: AsTold) -> AsTold | None:
        operator = self._session.bench.operator
        if self._met.count(doubt) > _ASKED_AT_MOST:
            return unexplained(asked)
        return await cause_as_told(operator, asked, known)

    async def _chosen_rightly(self, seen: str) -> AsTold | None:
        """See that mode and setting are as asked; then it is measured once more."""
        bench = self._session.bench
        if bench.generator.unattended:
            await self._choose()
            self.note = f"{self._chosen} chosen anew through the unit's port"
            return None
        answer = await bench.operator.carry_out(LookAtPanel(seen, self._chosen))
        if answer == UNKNOWN:
            return (
                "not measured",
                f"{seen}; nobody could tell whether the panel says {self._chosen}",
            )
        by = f"as told by {bench.operator.name}"
        if answer != CORRECTED:
            self.note = f"the panel says {self._chosen}, {by}"
            return None
        # what comes now is the first value of what was asked for: it is doubted anew
        self._met.clear()
        self._corrections += 1
        self.note = f"mode and setting were corrected before, {by}"
        return None if self._corrections < _ASKED_AT_MOST else ("not measured", seen)


async def cause_as_told(operator: Operator, asked: LookForCause, known: AsTold) -> AsTold | None:
    """What a person says of the cause: `known` with their name, or not measured; None: once more.

    `known`: verdict and reason where everything that was to be looked at is in order.
    """
    answer = await operator.carry_out(asked) if operator.present else UNKNOWN
    if answer == AGAIN:
        return None
    if answer == UNKNOWN:
        return unexplained(asked)
    verdict, reason = known
    return verdict, f"{reason}, as told by {operator.name}"


def unexplained(asked: LookForCause) -> AsTold:
    """Not measured, with what was seen and what to look at."""
    return "not measured", f"{asked.seen}: {asked.look}"
