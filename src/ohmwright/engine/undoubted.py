"""What makes doubt that readings are the unit's answer, and measuring again until there is none."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from dataclasses import dataclass, field
from math import isfinite, nan
from typing import Generic, Protocol, TypeVar

from ohmwright.instruments.operator import Interjection
from ohmwright.instruments.plausible_current import in_three_digits
from ohmwright.model.errors import FootSwitchLetGo, LoadNotConnected
from ohmwright.model.event import Event
from ohmwright.model.result import Measured, Sample, Verdict
from ohmwright.model.tolerance import Target

from .activation_events import activation_closed, activation_opened
from .doubt import Doubt, DoubtResolver, OutputSetting, VerdictAndReason
from .requirements import expected_ma
from .session import Session


class WithReadings(Protocol):
    """What one activation returns: its readings, and whatever was made of them."""

    @property
    def samples(self) -> Sequence[Sample]:
        """The readings, oldest first."""


T = TypeVar("T", bound=WithReadings)
"""What one activation returns."""

_NO_OUTPUT_RATIO = 0.1
"""A current below this part of what was asked for (1 % of the power) is no output."""
_COME_RATIO = 2.0
"""A current above so many times what is no output has come: noise makes a slow rise, or a small
leakage, cross a limit more than once."""
_FAR_TOLERANCES, _FAR_RATIO = 3.0, 0.25
"""Distance from the target, in tolerances or as part of it, above which a value is far off."""
_LATEST_READINGS = 5
"""Readings at the end of an activation of which the largest tells whether there is output."""
ONCE_MORE = "The value is too near to a limit to be decided by these readings: once more."
"""What is told to who keys RF by foot where one activation has not decided a point."""
_LET_GO_AT_MOST = 5
"""Times that a foot switch may be let go too early before that ends the run."""


def least_output_ma(session: Session, asked_ma: float) -> float:
    """Return the current in mA up to which there is no output where `asked_ma` was to flow."""
    return max(session.bench.rf.zero_limit_ma, _NO_OUTPUT_RATIO * asked_ma)


def doubt_in(
    samples: Sequence[Sample],
    least_ma: float,
    excess: str = "",
    measured: Measured | None = None,
    target: Target | None = None,
) -> Doubt | None:
    """Return the reason to doubt that readings are the unit's answer; None if there is none.

    `least_ma`: see `least_output_ma`; `excess`: what ended the activation early, empty unless far
    too much flowed. A value is compared with `target` only where both are given.
    """
    if excess:
        return "too much"
    if not samples:
        return None
    if _comes_and_goes(samples, least_ma):  # first: what was seen to flow is not "none seen"
        return "interrupted"
    if _latest_ma(samples) <= least_ma:
        return "no output"
    if measured is not None and target is not None and is_far_off(measured.value, target):
        return "far off"
    return None


def meter_words(samples: Sequence[Sample]) -> str:
    """Return the largest of the latest readings, as the meter's own word."""
    largest_ma = _latest_ma(samples)
    return (
        f"the meter shows {in_three_digits(largest_ma)}"
        if isfinite(largest_ma)
        else "no reading came"
    )


def _latest_ma(samples: Sequence[Sample]) -> float:
    """Return the largest current of the latest readings in mA; nan where there is none."""
    return max((sample.current_ma for sample in samples[-_LATEST_READINGS:]), default=nan)


def _comes_and_goes(samples: Sequence[Sample], least_ma: float) -> bool:
    """Return whether the current has gone after it had come: the readings have no one value."""
    currents_ma = [sample.current_ma for sample in samples]
    came = next((k for k, ma in enumerate(currents_ma) if ma > _COME_RATIO * least_ma), None)
    return came is not None and min(currents_ma[came:]) <= least_ma


def is_far_off(value: float, target: Target) -> bool:
    """Return whether `value` is so far from `target` that a wrong setting explains it better.

    False for a one-sided target: it limits the value and asks for none.
    """
    if target.one_sided:
        return False
    allowed = (target.upper if value > target.value else target.lower) - target.value
    off = abs(value - target.value)
    return off > _FAR_TOLERANCES * abs(allowed) or off > _FAR_RATIO * target.value


def _by_such_a_meter(verdict: Verdict, reason: str) -> VerdictAndReason:
    """Return what is known where half of what is due may be the meter's zero: no unit fails."""
    if verdict != "fail":
        return verdict, reason
    return "undecided", f"{reason}; such a meter cannot tell that output from none"


async def _no_preparation() -> None:
    """Do nothing before an activation."""


def _never(_: object) -> bool:
    """One activation is enough."""
    return False


@dataclass
class UndoubtedMeasurement(Generic[T]):
    """Activates until there is no doubt of the readings, or a verdict is known without them.

    `measure`: makes one activation; `doubt`: returns the reason to doubt what it returned, None if
    there is none; `in_words`: returns what was seen, as a clause for a person.
    """

    session: Session
    chosen: OutputSetting
    load_ohm: float
    limit_s: float
    measure: Callable[[], Awaitable[T]]
    doubt: Callable[[T], Doubt | None]
    in_words: Callable[[T], str]
    prepare: Callable[[], Awaitable[None]] = _no_preparation
    """Awaited before each activation, with RF off."""
    again: Callable[[T], bool] = _never
    """Whether to activate once more though there is no doubt; asked after each activation."""
    latest: T = field(init=False)
    """What the last activation returned."""
    verdict_instead: VerdictAndReason | None = field(init=False, default=None)
    """Verdict and reason to be recorded instead of a value; None where the value counts."""
    latest_doubt: Doubt | None = field(init=False, default=None)
    """The doubt of the last activation; None where there was none."""
    resolver: DoubtResolver = field(init=False)
    _let_go: int = field(init=False, default=0)
    _flowed_ma: float = field(init=False, default=0.0)
    """The current at the end of an earlier activation here; 0 where none flowed."""

    def __post_init__(self) -> None:
        self.resolver = DoubtResolver.for_setting(self.session, self.chosen)

    async def events(self) -> AsyncIterator[Event]:
        """Activate and yield the events; then `latest` and `verdict_instead` are known."""
        session = self.session
        while True:
            await self.prepare()
            yield await activation_opened(
                session,
                load_ohm=self.load_ohm,
                limit_s=self.limit_s,
                setting_w=self.chosen.setting_w,
            )
            try:
                self.latest = await self.measure()
            except FootSwitchLetGo as early:
                yield activation_closed(session)
                await self._tell(early)
                continue
            except (Interjection, LoadNotConnected):
                yield activation_closed(session)
                raise
            yield activation_closed(session)
            self.latest_doubt = doubt = self.doubt(self.latest)
            if doubt not in ("no output", "no leakage") and self.latest.samples:
                self._flowed_ma = _latest_ma(self.latest.samples)
            if doubt is None or self.resolver.is_accepted(doubt):
                if not self.again(self.latest):
                    return
                await self._tell_once_more()
                continue
            found = await self.resolver.resolve(doubt, self._seen(doubt))
            if found is not None:
                zero_ma = session.bench.rf.zero_limit_ma
                hidden = doubt == "no output" and self._due_ma() < 2 * zero_ma
                self.verdict_instead = _by_such_a_meter(*found) if hidden else found
                return

    def _seen(self, doubt: Doubt) -> str:
        """Return what a person is told of the readings: the largest, where that is no output."""
        if doubt not in ("no output", "no leakage"):
            return self.in_words(self.latest)
        shown = meter_words(self.latest.samples)
        if doubt == "no leakage":
            return shown
        due_ma = self._due_ma()
        due = f"{shown}, up to {in_three_digits(due_ma)} is due"
        zero_ma = self.session.bench.rf.zero_limit_ma
        if zero_ma > _NO_OUTPUT_RATIO * due_ma:
            due += f", up to {in_three_digits(zero_ma)} may be its zero"
        if not self._flowed_ma:
            return due
        return f"{due}; {in_three_digits(self._flowed_ma)} flowed here in an activation before"

    def _due_ma(self) -> float:
        mode = self.session.bench.generator.data.mode(self.chosen.mode)
        return expected_ma(mode, self.chosen.setting_w, self.load_ohm)

    async def _tell(self, early: FootSwitchLetGo) -> None:
        """Tell the person that it is measured again; raises `early` when it was too often."""
        self._let_go += 1
        if self._let_go >= _LET_GO_AT_MOST:
            raise early
        await self.session.bench.operator.tell(f"{early} It is measured again.")

    async def _tell_once_more(self) -> None:
        """Tell a person who keys RF why they are asked to key it again."""
        bench = self.session.bench
        if bench.analyzer.keyed_by_foot:
            await bench.operator.tell(ONCE_MORE)

    def with_notes(self, reason: str) -> str:
        """Return `reason` completed by how the doubts about the kept value were resolved."""
        if self.verdict_instead is not None:
            return reason
        twice = "measured twice" if self.latest_doubt == "far off" else ""
        return "; ".join(part for part in (reason, twice, self.resolver.note) if part)
