"""The readings of an open activation, each once and with its age.

A meter whose figure stands still, as no output does, is refused.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable
from math import inf, isnan, log
from typing import Protocol

from ohmwright.instruments.analyzer import Reading
from ohmwright.model.errors import ActivationVoid, ProtocolError
from ohmwright.model.hardware import LONGEST_HOLD_S
from ohmwright.model.result import Sample
from ohmwright.wire.clock import Clock

from .activation import Activation
from .ages_without_numbers import AgesAsSeen, AgesAsTyped
from .pace import Pace

_SILENT_READINGS = 20
"""Reading intervals without a new reading after which the meter has stopped; no sooner than the
longest hold."""
_LOOKS_PER_INTERVAL, _LOOK_EVERY_S = 4, 0.1
"""A meter without reading numbers is asked so often in an interval, to see when a reading comes;
no oftener than this."""
_QUERIES_TO_COME = 2.0
"""After a reading: the next one is fetched, and it is read that RF is still on."""
_RATE, _JITTER = 0.1, 0.5
"""Relative error of the meter's rate, and lateness of a reading in intervals, that are allowed."""
_LEAST_RATE, _MOST_RATE = 1 - _RATE, 1 + _RATE
_FINE_DIGIT = 3e-4
"""Largest digit, over the reading, that shows an output's noise, which is 0.05 % or more (common
practice, no source)."""
_USUALLY_EQUAL = 0.2
"""With such a digit two neighbours of an output are equal in about one case of five."""
_ALIKE = 10
"""Equal readings in a row from which the meter stands still, where they are equal as usually."""
_SOME_ALIKE = 4
"""Equal readings in a row from which nothing is decided, then: the meter may stand still."""
_DOUBT = 5
"""Pairs of neighbours by which it is doubted how often those of this meter are equal: readings of
the end of a rise are not, though the meter smooths them."""
_HANGS_S = 2 * LONGEST_HOLD_S
"""No sooner, since droop moves an output, too: for so long nothing is decided."""
_HANGS_SURELY_S = 20.0
"""And at the latest here, however few readings tell how often those of this meter are equal."""
_HELD_ALIKE = 3
"""Equal readings in a row of a rise from which nothing is decided, whatever the digit."""
_STRIDE, _STRIDE_DIGITS = 0.01, 2.0
"""From one reading to the next, over the figure and in digits: more is no noise, but a rise (common
practice, no source)."""
_NO_CURRENT_DIGITS = 10.0
"""A meter shows less with RF off."""


async def samples(
    activation: Activation,
    fetch: Callable[[], Awaitable[Reading]],
    clock: Clock,
    interval_s: float,
    until_s: float,
    digit_ma: float,
) -> AsyncIterator[Sample]:
    """Yield each new reading, in mA with its age, while there is time for another.

    The meter takes a reading every `interval_s`; its age follows from its number, or from when it
    was seen. The last one comes early enough before the age `until_s` for one more query to be
    answered in time: a query takes as long as the quicker of the last two fetches, since one that
    was held up says nothing of the next. A person is asked for the next reading as soon as they
    have typed one. `digit_ma`: the meter's last digit. Raises ProtocolError when the numbers stand
    still or run back, or a fine figure stands still: the reply may be an old one or another
    instrument's. Raises ActivationVoid when clocks
    differ by more than a pause of the meter explains: then time has passed that one did not count.
    """
    ages: ReadingAges | None = None
    clock_s, began_s = clock.now_s, activation.began_s
    hanging, pace = HangingMeter(digit_ma), Pace(clock_s(), interval_s)
    silent, asleep_s = 0, clock.asleep_s()
    query_s = latest_s = 0.0
    while True:
        now_s = clock_s()
        wait_s = pace.wait_s(now_s)
        if now_s - began_s + wait_s + _QUERIES_TO_COME * query_s >= until_s:
            return
        await clock.sleep(wait_s)
        now_s = clock_s()
        pace.asked(now_s)
        asked_s = now_s - began_s
        reading = await fetch()
        current_ma, number, by_hand = reading
        came_s = clock_s() - began_s
        if not by_hand:
            query_s, latest_s = min(latest_s, came_s - asked_s), came_s - asked_s
            pace.query_s = query_s
        slept_s = clock.asleep_s() - asleep_s
        if abs(slept_s) > interval_s:
            raise activation_void(
                f"the computer was asleep, or its date was set, by {slept_s:.1f} s"
            )
        if ages is None:
            ages = ages_of(reading, interval_s)
            if number is None:
                pace.look_every(_look_every_s(reading, interval_s))
        if number is None and latest_s > interval_s + query_s:
            continue  # delayed on its way, by more than its age may be uncertain
        age_s = ages.age_of(reading, asked_s, came_s)
        if age_s is None:
            silent = _count_silence(silent, interval_s)
            if silent == 1:
                pace.asked_too_soon()
            continue
        silent = 0
        if not isnan(current_ma):
            if not by_hand:
                hanging.note(age_s, current_ma)
            yield Sample(age_s, current_ma)


def _look_every_s(reading: Reading, interval_s: float) -> float:
    """Return the time between two looks at a meter that gives readings like this, in s."""
    if reading.by_hand:
        return 0.0
    if reading.number is not None:
        return interval_s
    return min(interval_s, max(interval_s / _LOOKS_PER_INTERVAL, _LOOK_EVERY_S))


class ReadingAges(Protocol):
    """Tells a new reading from the last one again, and finds its age."""

    def age_of(self, reading: Reading, asked_s: float, came_s: float) -> float | None:
        """Return the age in s at which the reading was complete; None where it is not new.

        `asked_s` and `came_s`: the ages of the activation at which it was asked for and came.
        """


def ages_of(first: Reading, interval_s: float) -> ReadingAges:
    """Return what dates the readings of a meter whose first one is `first`."""
    if first.by_hand:
        return AgesAsTyped()
    return AgesAsSeen(interval_s) if first.number is None else AgesByNumber(interval_s)


class AgesByNumber:
    """Dates each reading from its number and that of the one before.

    A meter may pause, as for a change of range, or hold a reading and then go on with the latest.
    That its number stood still is seen where it was asked for meanwhile.
    """

    def __init__(self, interval_s: float) -> None:
        self._interval_s, self._apart_s = interval_s, (1 + _JITTER) * interval_s
        self._number: int | None = None
        self._asked_s = self._came_s = self._age_s = 0.0
        """When the latest number was first asked for and came, and its reading's age."""
        self._again_asked_s, self._again_came_s = 0.0, 0.0
        """When the latest number was last asked for and came."""
        self._stood_s = 0.0
        """How long beyond an interval a number was seen to stand at most, in this activation."""
        self._held_s = LONGEST_HOLD_S
        """How old the latest number may have been when it was first seen, beyond an interval. The
        first one may be an old one: nobody looked before."""

    def age_of(self, reading: Reading, asked_s: float, came_s: float) -> float | None:
        """Return the age in s of the reading; None where its number is the last one again.

        A reading was complete when it came, at most an interval before it was asked for, and after
        the last look that still gave the number before. Between those bounds lies the time that the
        meter may have counted, and the age, however far from its stated rate a meter counts. Raises
        ActivationVoid where the count from one reading to the next is outside, ProtocolError where
        it runs back.
        """
        number, last, age_s = reading.number, self._number, came_s
        if last is not None and number is not None:
            if number < last:
                raise _ran_back(number, last)
            if number == last:
                self._again_asked_s, self._again_came_s = asked_s, came_s
                return None
            counted_s = self._interval_s * (number - last)
            self._refuse_other_count(counted_s, asked_s, came_s)
            by_count_s = self._age_s + counted_s
            if by_count_s >= self._again_asked_s:  # else it has paused: the count begins anew
                age_s = min(came_s, max(asked_s - self._apart_s, by_count_s))
            stood_s = self._again_asked_s - self._came_s - self._interval_s
            self._held_s = self._stood_s = max(self._stood_s, stood_s)
        self._number, self._age_s = number, age_s
        self._asked_s, self._came_s = self._again_asked_s, self._again_came_s = asked_s, came_s
        return age_s

    def _refuse_other_count(self, counted_s: float, asked_s: float, came_s: float) -> None:
        """Raise ActivationVoid where the clock cannot have counted as much, or as little."""
        longest_s = came_s - self._asked_s + self._apart_s + self._held_s
        if _LEAST_RATE * counted_s > longest_s:
            raise _counted_more(counted_s, longest_s)
        shortest_s = asked_s - self._again_came_s - self._apart_s
        if _MOST_RATE * counted_s < shortest_s:
            raise _counted_less(counted_s, shortest_s)


class StandingFigure:
    """Tells a figure that a meter holds, as while it changes its range, from a quiet output.

    `digit_ma`: the meter's last digit. A fine one shows the noise of any output. A figure that the
    readings came to in one stride, as those of a rise do, may be held until another one comes: was
    that a stride, too, the output had moved on meanwhile.
    """

    def __init__(self, digit_ma: float) -> None:
        self.digit_ma = digit_ma
        self._figure_ma = self._began_s = self._latest_s = 0.0
        """The latest figure, and the ages of the first and the latest reading of it."""
        self.alike = 0
        """Readings of it in a row."""
        self._came_in_stride = False
        self._neighbours = self._equal = 0
        """Pairs of neighbours so far that no stride parts, and equal ones among them."""
        self.counts: list[bool] = []
        """Of each reading, whether it counts: not where it only repeats a figure that is held."""

    def note(self, age_s: float, current_ma: float) -> None:
        """Take in a reading in mA, with its age."""
        if self.alike and abs(current_ma - self._figure_ma) < 0.5 * self.digit_ma:
            self._latest_s, self.alike = age_s, self.alike + 1
            self.counts.append(True)
            self._count_repeats(not self.stands)
            return
        in_stride = self._is_stride(current_ma)
        if self._may_be_held:
            self._count_repeats(not in_stride)
        if self.alike and not in_stride:
            self._neighbours += self.alike
            self._equal += self.alike - 1
        self._figure_ma, self.alike = current_ma, 1
        self._began_s = self._latest_s = age_s
        self._came_in_stride = in_stride
        self.counts.append(True)

    @property
    def stands(self) -> bool:
        """Whether the meter may hold its figure now: then nothing is to be decided."""
        return self._is_too_quiet or (self.alike >= _HELD_ALIKE and self._may_be_held)

    @property
    def _may_be_held(self) -> bool:
        """Whether the figure is one of a rise, and has not stood too long for a change of range."""
        return self._came_in_stride and self.stood_s < LONGEST_HOLD_S

    @property
    def stood_s(self) -> float:
        """How long the figure has stood so far, s."""
        return self._latest_s - self._began_s

    @property
    def hangs(self) -> bool:
        """Whether it has stood still as no output does: a rise goes on, and noise shows."""
        if self.alike < _ALIKE or not self._shows_noise or self.stood_s < _HANGS_S:
            return False
        surely = self._came_in_stride or self.stood_s >= _HANGS_SURELY_S
        seen = (self._equal + _DOUBT) / (self._neighbours + _DOUBT)
        return surely or self.alike >= _as_rare(_ALIKE, seen)

    @property
    def _is_too_quiet(self) -> bool:
        """Whether a digit that shows noise shows none."""
        seen = self._equal / (self._neighbours + _DOUBT)
        return self._shows_noise and self.alike >= _as_rare(_SOME_ALIKE, seen)

    @property
    def _shows_noise(self) -> bool:
        return self.digit_ma <= _FINE_DIGIT * self._figure_ma

    def _is_stride(self, current_ma: float) -> bool:
        """Return whether neither noise nor digit explains the way from the last figure to this."""
        way_ma = abs(current_ma - self._figure_ma)
        if way_ma <= _STRIDE_DIGITS * self.digit_ma:
            return False
        larger_ma = max(current_ma, self._figure_ma)
        return way_ma > _STRIDE * larger_ma > _STRIDE * _NO_CURRENT_DIGITS * self.digit_ma

    def _count_repeats(self, count: bool) -> None:
        repeats = self.alike - 1
        if repeats:
            self.counts[-repeats:] = [count] * repeats


def _as_rare(alike: int, equal: float) -> float:
    """Return how many alike in a row are as rare as `alike` of an output's readings usually are.

    `equal`: the share of two neighbours that are equal, as a meter's that smooths its readings.
    """
    if equal >= 1:
        return inf
    return 1 + (alike - 1) * log(_USUALLY_EQUAL) / log(max(_USUALLY_EQUAL, equal))


class HangingMeter:
    """Refuses a figure that stands still as no output does. `digit_ma`: the meter's last digit.

    A coarse digit hides an output's noise: then nothing is refused.
    """

    def __init__(self, digit_ma: float) -> None:
        self._figure = StandingFigure(digit_ma)

    def note(self, age_s: float, current_ma: float) -> None:
        """Take in a reading in mA, with its age. Raises ProtocolError where the meter hangs."""
        figure = self._figure
        figure.note(age_s, current_ma)
        if figure.hangs:
            raise ProtocolError(
                f"The meter shows {current_ma:g} mA again and again, {figure.alike} readings in "
                f"{figure.stood_s:.1f} s.",
                "No output is so quiet: the meter may hang, or its last digit is coarser than the "
                f"{figure.digit_ma:g} mA that its data say. No value was taken from it.",
                "See whether it follows the output: if not, restart it; if in steps, correct "
                "'resolution_ma' in the analyzer's data. Then run again.",
            )


def activation_void(gap: str) -> ActivationVoid:
    """Return the error to be raised where time has passed without readings."""
    return ActivationVoid(
        f"Time has passed in which nobody looked: {gap}.",
        "The readings' ages and the time that RF was on are not known; no value was taken.",
        "Keep the computer from sleeping and the program from being stopped, then resume the run.",
    )


def _ran_back(number: int, last: int) -> ProtocolError:
    return ProtocolError(
        f"The meter's reading number ran back from {last} to {number}.",
        "The reply may be another instrument's, or the analyzer has restarted.",
        "Check the cabling, then run again; points without a result are measured anew.",
    )


def _counted_more(counted_s: float, clock_s: float) -> ActivationVoid:
    return ActivationVoid(
        f"Meter and clock differ: the meter counted {counted_s:.1f} s, the clock at most "
        f"{clock_s:.1f} s.",
        "The computer's clocks show no sleep. A digit of a reading's number was changed on the "
        "line, or the meter takes more readings a second than its data state, or the "
        "computer was halted, clocks and all, as a virtual machine may be. No value was taken.",
        "Resume the run. Where it happens again, check cable and shielding, then 'readings_per_s' "
        "in the analyzer's data, then what may halt the computer.",
    )


def _counted_less(counted_s: float, clock_s: float) -> ActivationVoid:
    return ActivationVoid(
        f"Meter and clock differ: the meter counted {counted_s:.1f} s, the clock at least "
        f"{clock_s:.1f} s since it was last asked.",
        "The meter paused, as for a change of range, while nobody could ask it; or a reply was "
        "held up on the line, or a digit of a reading's number changed there. No value was taken.",
        "Resume the run. Where it happens again, fix the meter's range, then check cable and "
        "shielding.",
    )


def _count_silence(silent: int, interval_s: float) -> int:
    if silent >= max(_SILENT_READINGS, LONGEST_HOLD_S / interval_s):
        raise ProtocolError(
            f"The meter has given no new reading for {silent} reading intervals.",
            "It has stopped, or an old reply is repeated.",
            "Check the analyzer, then run again.",
        )
    return silent + 1
