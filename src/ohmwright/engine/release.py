"""Switches RF off: OFF is sent and read back, whatever is cancelled, within a bounded time."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from typing import NamedTuple

import anyio

from ohmwright.instruments.analyzer import Analyzer, Reading
from ohmwright.instruments.bench import Bench
from ohmwright.model.errors import LinkError, LinkLost, LinkTimeout, ReleaseNotConfirmed

from .meter_tail import MeterTail
from .uncancellable import uncancellable

RELEASE_BOUND_S = 8.0
"""Longest time of a release by the machine's clock, so that a fault cannot hold it up."""
BY_HAND_BOUND_S = 60.0
"""Longest time of a release by a person, who has to be told, and perhaps told again."""
LAST_TRY_BOUND_S = 3.0
"""Longest time of a second release after one whose time ran out: where this process itself was
stopped meanwhile (a signal, no memory), the first one had no chance to read anything back."""
_TRIES = 40
_BETWEEN_TRIES_S = 0.1
"""Number of times that OFF is sent and read back in one release, and the pause between."""
READ_OFF_WITHIN_S = _TRIES * _BETWEEN_TRIES_S
"""Time within which RF must have read off on a line that answers at once; a slower one has more."""
KEYING_DELAY_S = 2.0
"""Longest time from keying until a current is read: dead time and the meter's window; no source."""
_SLOW_ANSWERS_S = 1.0
"""Longest time of the answers to the questions after OFF; no source."""
_TOLD_BY_HAND_AFTER_S = 10.0
"""Time after which a person who was told to release the foot switch is told of the mains switch."""
_OFF_ONCE = f"it read off, and was not seen to stay so for {KEYING_DELAY_S:g} s"
MAINS_SWITCH = (
    "Let go of any foot switch and switch the generator off at its mains switch now; do not touch "
    "the electrodes or the load terminals."
)
_ZERO_HINT = (
    " If the meter shows that current with the generator switched off, set zero_ma in [data.meter] "
    "of its data file, as its manual states it."
)
_ONLY_FELL = (
    "; its readings only fell after OFF, as those of a meter do that is slower than 'window_s' in "
    "its data says"
)


def meter_shows_s(bench: Bench) -> float:
    """Return the longest time in s after OFF for which a meter may show a current that has gone.

    Its window, two readings, and the answers.
    """
    meter = bench.analyzer.data.meter
    return meter.window_s + 2 / meter.readings_per_s + _SLOW_ANSWERS_S


class ConfirmedRelease(NamedTuple):
    """A release that was read back as off."""

    took_s: float
    """Seconds from OFF until the keying output read open."""
    stayed_closed: bool
    """Whether it read closed, or its limit ran, at least once after OFF."""
    sent: int
    """How many times OFF was sent until it read open."""
    last_on_s: float
    """Seconds from OFF until anything last showed that RF was on; 0 where nothing did."""
    is_tail: bool
    """Whether that was only the meter's tail, of a current that had gone with OFF."""


async def confirmed_release(bench: Bench, *, current_seen: bool = False) -> ConfirmedRelease:
    """Send OFF and read the output back, however often it is cancelled, within a bounded time.

    `current_seen`: whether a current was read since ON. Raises ReleaseNotConfirmed when the contact
    does not read open, when current still flows, or when another analyzer answers than the one that
    was switched on.
    """
    ended = await uncancellable(partial(_bounded_release, bench, current_seen=current_seen))
    if isinstance(ended, str):
        if bench.rf.state == "off":  # it read so once, and was not seen to stay so
            bench.rf.set_unknown()
        raise ReleaseNotConfirmed(
            f"RF MAY STILL BE ON: {ended}.",
            "The output could not be read back as off.",
            f"{MAINS_SWITCH} Then find out why.{_ZERO_HINT * bench.rf.may_be_zero}",
        )
    return ended


def bound_s(bench: Bench) -> float:
    """Return the longest time in s of one release, without that of the last try."""
    return BY_HAND_BOUND_S if bench.analyzer.released_by_hand else RELEASE_BOUND_S


def _tries(bench: Bench) -> Iterator[None]:
    """Yield for each try of a release: `_TRIES` of them, by hand as many as there is time for."""
    end_s, done = bench.clock.now_s() + BY_HAND_BOUND_S, 0
    while bench.clock.now_s() < end_s if bench.analyzer.released_by_hand else done < _TRIES:
        yield
        done += 1


@dataclass
class _Seen:
    """What a release has seen so far; a second one after it goes on with it."""

    begun_s: float
    tail: MeterTail
    took_s: float | None = None
    sent: int = 0
    stayed_closed: bool = False
    last_on_s: float = 0.0
    problem: str | None = None
    """What spoke last against RF being off, as it was read."""
    was_silent: bool = False
    """Whether the line was silent or lost meanwhile."""
    warning: str = ""
    """What a person was told of RF that may still be on; empty where nobody was."""

    @property
    def confirmed(self) -> ConfirmedRelease:
        """The release, now that it has been read back as off."""
        return ConfirmedRelease(
            self.took_s or 0.0, self.stayed_closed, self.sent, self.last_on_s, self.tail.explains
        )


async def _bounded_release(bench: Bench, *, current_seen: bool) -> ConfirmedRelease | str:
    """Release within the time for it, and once more in a shorter one; return what is wrong, else.

    A person is warned between the two.
    """
    begun_s = bench.clock.now_s()
    seen = _Seen(begun_s, MeterTail(bench.analyzer.data.meter, begun_s))
    for within_s in (bound_s(bench), LAST_TRY_BOUND_S):
        with anyio.move_on_after(within_s, shield=True):
            ended = await _release(bench, seen, current_seen=current_seen)
            fell = isinstance(ended, str) and seen.tail.only_fell
            return f"{ended}{_ONLY_FELL}" if fell else ended
        await _warn(bench, seen, "no reading of it has come back")
    last = "" if seen.problem is None else f"; the last that spoke against off: {seen.problem}"
    return f"the time for reading it back ran out{last}"


async def _release(bench: Bench, seen: _Seen, *, current_seen: bool) -> ConfirmedRelease | str:
    """Send OFF until it is read back as off; return what is wrong where it never is.

    A current that was read and is gone is proof. Without one, RF may still be coming on: then no
    current may be read for as long as a unit takes to answer its key.
    """
    analyzer, clock, rf = bench.analyzer, bench.clock, bench.rf
    problem = "OFF was not sent"
    for _ in _tries(bench):
        seen.sent += 1 if seen.took_s is None else 0
        fades = False
        try:
            await analyzer.switch_off()
            asked_s = clock.now_s()
            still = await rf.evidence_on()
            seen.tail.take(_shown_open(bench), asked_s, clock.now_s())
            is_open = still is None if analyzer.keyed_by_foot else not rf.contact_closed
            if seen.took_s is None and is_open:
                seen.took_s = clock.now_s() - seen.begun_s
            if still is None and not current_seen:
                seen.problem = _OFF_ONCE
                still = await rf.evidence_on_within(KEYING_DELAY_S)
                seen.tail.take(_shown_open(bench), clock.now_s(), clock.now_s())
            if still is None:
                await analyzer.identify()  # what read off is what was switched on
                await analyzer.end_watch()
                await _take_back(bench, seen)
                return seen.confirmed
            problem = seen.problem = f"{still}{_refusal_of_off(analyzer)}"
            seen.last_on_s = clock.now_s() - seen.begun_s
            seen.stayed_closed = seen.stayed_closed or rf.contact_closed or rf.limit_runs
            fades = seen.tail.explains
        except LinkTimeout as silent:
            rf.set_unknown()
            seen.was_silent = True
            problem = silent.happened.rstrip(".")
            # its guard may be what hangs: another one takes the port, where there are guards
            await _found_again(analyzer)
        except LinkLost as lost:
            rf.set_unknown()
            seen.was_silent = True
            problem = lost.happened.rstrip(".")
            if not await _found_again(analyzer):
                return problem
            continue
        except LinkError as error:
            rf.set_unknown()  # another instrument may have said that RF is off
            problem = seen.problem = error.happened.rstrip(".")
        if clock.now_s() - seen.begun_s > _warned_after_s(bench) and not fades:
            await _warn(bench, seen, problem)
        await clock.sleep(_BETWEEN_TRIES_S)
    return problem


async def _found_again(analyzer: Analyzer) -> bool:
    """Whether a lost line was found again; one that fails at once is as lost as before."""
    try:
        return await analyzer.reconnect()
    except LinkError:
        return False


def _shown_open(bench: Bench) -> Reading | None:
    """Return the reading that came last, where the analyzer said before that its output is open."""
    analyzer = bench.analyzer
    says_state = analyzer.protections.state_read_back and not analyzer.released_by_hand
    return bench.rf.reading if says_state else None


def _refusal_of_off(analyzer: Analyzer) -> str:
    """Return what the analyzer said to OFF, as a clause, where that does not say it was done."""
    said = analyzer.off_answer.said
    return f"; to OFF came {said}" if said else ""


def _warned_after_s(bench: Bench) -> float:
    """Return the time in s after OFF after which a reading is of RF that is still on."""
    return _TOLD_BY_HAND_AFTER_S if bench.analyzer.released_by_hand else meter_shows_s(bench)


async def _warn(bench: Bench, seen: _Seen, problem: str) -> None:
    """Tell the person, once and while OFF is still tried, that RF may still be on."""
    if not seen.warning:
        seen.warning = f"RF MAY STILL BE ON {_after_off(bench, seen)}: {problem}. {MAINS_SWITCH}"
        await tell_if_possible(bench, seen.warning)


async def _take_back(bench: Bench, seen: _Seen) -> None:
    """Tell a person who was warned that RF is off, and that it is not keyed without their word."""
    if not seen.warning:
        return
    bench.operator.take_back(seen.warning)
    is_off = f"{is_off_words(bench)}, {_after_off(bench, seen)}"
    spoken_against = seen.stayed_closed or seen.was_silent or bench.analyzer.released_by_hand
    if seen.last_on_s and not spoken_against:
        is_off += (
            " (only readings of a current spoke against it: a pedal or a second control held RF "
            "on, or the meter is slower than 'window_s' in its data says, or gives its last "
            "reading again while it changes its range)"
        )
    again = "Where the run goes on, you are asked to press it again."
    if not bench.analyzer.keyed_by_foot:
        bench.rf.off_after_warning = is_off
        again = "It does not come on again before you say so."
    await tell_if_possible(bench, f"{is_off}. {again}")


def _after_off(bench: Bench, seen: _Seen) -> str:
    by_foot = bench.analyzer.keyed_by_foot
    since = "the call to release the foot switch" if by_foot else "OFF"
    return f"{bench.clock.now_s() - seen.begun_s:.0f} s after {since}"


def is_off_words(bench: Bench) -> str:
    """Return that RF is off now, and whether an instrument or a person says so, or nothing does."""
    if not bench.rf.proves_off:
        return "No current is read now, which is no proof that RF is off"
    return "RF is off now, as told" if bench.analyzer.read_by_eye else "RF reads off now"


async def tell_if_possible(bench: Bench, words: str) -> None:
    """Tell a person something, where that can be done."""
    with suppress(Exception):  # whoever cannot be told must not keep OFF from being tried
        await bench.operator.tell(words)
