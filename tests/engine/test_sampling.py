"""Each reading has its age; where the clocks disagree over it there is none."""

from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import pytest

from ohmwright.engine.activation import activation
from ohmwright.engine.rested_activation import refuse_cut_short, refuse_other_limit
from ohmwright.engine.sampling import samples
from ohmwright.instruments.analyzer import Reading
from ohmwright.model.errors import ActivationVoid, ProtocolError
from ohmwright.model.result import Sample
from ohmwright.wire.clock import VirtualClock

pytestmark = pytest.mark.anyio
INTERVAL_S = 0.1


@dataclass
class Meter:
    """Takes a reading every `interval_s`; a reply takes `delay_s`."""

    clock: VirtualClock
    delay_s: float = 0.0
    numbered: bool = True
    ahead_s: float = 0.0
    """How far its own clock is ahead of the bench's."""
    rate: float = 1.0
    at: dict[int, Callable[[], object]] = field(default_factory=dict)
    """What happens just before the so manieth fetch."""
    fetched: int = 0
    interval_s: float = INTERVAL_S
    shows: Callable[[int], float] = lambda _: 100.0
    """The current of the so manieth reading, in mA."""

    async def fetch(self) -> Reading:
        self.fetched += 1
        self.at.pop(self.fetched, lambda: None)()
        now_s = self.rate * self.clock.now_s() + self.ahead_s
        self.clock.advance(self.delay_s)
        number = int(now_s / self.interval_s + 1e-6)
        return Reading(self.shows(number), number if self.numbered else None)


@dataclass
class Pausing(Meter):
    """Shows no new reading for `pause_s`; `counts`: whether its number goes on meanwhile."""

    began_s: float = 1.03
    pause_s: float = 1.0
    counts: bool = True

    async def fetch(self) -> Reading:
        self.fetched += 1
        self.at.pop(self.fetched, lambda: None)()
        now_s, ends_s = self.clock.now_s(), self.began_s + self.pause_s
        if now_s < self.began_s:
            number = count(now_s, self.interval_s)
            return Reading(number * self.interval_s, number)
        before = count(self.began_s, self.interval_s)
        if now_s < ends_s:
            return Reading(before * self.interval_s, before)
        if self.counts:
            number = count(now_s, self.interval_s)
            return Reading(number * self.interval_s, number)
        since = count(now_s - ends_s, self.interval_s)
        taken_at_s = ends_s + since * self.interval_s
        return Reading(taken_at_s, before + 1 + since)


def count(duration_s: float, interval_s: float) -> int:
    """Return how many intervals have passed."""
    return int(duration_s / interval_s + 1e-6)


async def taken(meter: Pausing, until_s: float) -> list[Sample]:
    """Age of each reading and, in place of a current, when the meter took it."""
    return [sample async for sample in readings_of(meter, until_s)]


class SleepyClock(VirtualClock):
    """Of a machine that sleeps; `counts` says whether the time then counts."""

    counts = True
    slept_s = 7.0

    def sleep_now(self, duration_s: float) -> None:
        self.slept_s += duration_s
        if self.counts:
            self.advance(duration_s)

    def asleep_s(self) -> float:
        return self.slept_s


class Opened:
    """An activation that began when this was made."""

    def __init__(self, clock: VirtualClock, limit_s: float = 60.0) -> None:
        self._clock, self._limit_s, self.began_s = clock, limit_s, clock.now_s()

    @property
    def age_s(self) -> float:
        return self._clock.now_s() - self.began_s

    @property
    def left_s(self) -> float:
        return self._limit_s - self.age_s


def readings_of(meter: Meter, until_s: float) -> AsyncIterator[Sample]:
    opened: Any = Opened(meter.clock)
    return samples(opened, meter.fetch, meter.clock, meter.interval_s, until_s, 1.0)


async def ages(meter: Meter, until_s: float = 3.0) -> list[float]:
    return [sample.age_s async for sample in readings_of(meter, until_s)]


@pytest.mark.parametrize("delay_s", [0.0, 0.03, 0.17, 0.9])
async def test_a_reading_seen_late_is_dated_by_its_number(delay_s: float) -> None:
    found = await ages(Meter(VirtualClock(), delay_s), until_s=6.0)
    counts = [(later - earlier) / INTERVAL_S for earlier, later in pairwise(found)]
    assert len(counts) > 1
    assert counts == pytest.approx([round(count) for count in counts])


@pytest.mark.parametrize("interval_s", [0.1, 0.5, 1.0])
@pytest.mark.parametrize("numbered", [True, False])
@pytest.mark.parametrize("until_s", [9.0, 9.3, 9.6, 9.9])
async def test_after_the_last_reading_a_query_still_has_its_time(
    interval_s: float, numbered: bool, until_s: float
) -> None:
    meter = Meter(VirtualClock(), 0.35, numbered=numbered, interval_s=interval_s)
    async for _ in readings_of(meter, until_s):
        pass
    assert until_s - 2 * (interval_s + 0.35) - 0.35 < meter.clock.now_s() < until_s - 0.35


async def test_one_poll_that_is_late_does_not_smear_the_ages() -> None:
    meter = Meter(VirtualClock())
    meter.at[9] = lambda: meter.clock.advance(0.07)
    found = await ages(meter)
    assert max(later - earlier for earlier, later in pairwise(found)) == pytest.approx(INTERVAL_S)


async def test_a_stop_that_every_clock_saw_leaves_the_ages_right() -> None:
    meter = Meter(VirtualClock())
    meter.at[9] = lambda: meter.clock.advance(1.2)
    found = await ages(meter)
    assert found[8] - found[7] == pytest.approx(INTERVAL_S + 1.2)


@pytest.mark.parametrize("interval_s", [0.25, 0.5, 1.0])
@pytest.mark.parametrize("delay_s", [0.0, 0.03, 0.17])
@pytest.mark.parametrize("begun_s", [0.0, 0.33, 0.9])
async def test_a_reading_without_a_number_is_dated_where_it_was_first_seen(
    interval_s: float, delay_s: float, begun_s: float
) -> None:
    """Each reading of an output that rises comes once, at the age at which the meter took it."""
    meter = Meter(VirtualClock(), delay_s, numbered=False, interval_s=interval_s, shows=float)
    meter.clock.advance(begun_s * interval_s)
    begun_at_s = meter.clock.now_s()
    found = [sample async for sample in readings_of(meter, 20.0)]
    numbers = [sample.current_ma for sample in found]
    assert numbers == sorted(set(numbers))
    apart_s = max(interval_s / 4, 0.1) + delay_s  # from one look to the next
    assert len(found) > 0.95 * (20 / max(interval_s, apart_s) - 3)
    for number, sample in zip(numbers, found, strict=True):
        assert (
            abs(sample.age_s - (interval_s * number - begun_at_s)) <= 0.5 * apart_s + 1.2 * delay_s
        )


@pytest.mark.parametrize("rate", [0.95, 1.0, 1.05])
async def test_a_steady_reading_without_a_number_is_new_once_an_interval(rate: float) -> None:
    meter = Meter(VirtualClock(), 0.03, numbered=False, interval_s=0.5, rate=rate)
    found = await ages(meter, until_s=20.0)
    assert 37 <= len(found) <= 39
    assert min(later - earlier for earlier, later in pairwise(found)) > 0.49


async def test_readings_without_numbers_that_nobody_saw_are_not_counted() -> None:
    """The latest was complete within an interval before it was asked for."""
    meter = Meter(VirtualClock(), numbered=False, interval_s=0.5)
    readings = readings_of(meter, 10.0)
    await anext(readings)
    meter.clock.advance(4.1)
    age_s = (await anext(readings)).age_s
    assert meter.clock.now_s() - 0.5 <= age_s <= meter.clock.now_s()


@pytest.mark.parametrize("rate", [0.995, 1.0, 1.005])
@pytest.mark.parametrize("begins", [0.0, 0.3, 0.95])
async def test_no_reading_is_missed_however_long_each_answer_takes(
    begins: float, rate: float
) -> None:
    meter = Meter(VirtualClock(), delay_s=0.004, ahead_s=begins * INTERVAL_S, rate=rate)
    meter.shows = float
    numbers = [sample.current_ma async for sample in readings_of(meter, 30.0)]
    assert numbers == list(range(int(numbers[0]), int(numbers[0]) + len(numbers)))
    assert len(numbers) >= 0.99 * 300 * rate - 2
    assert meter.fetched <= 1.3 * len(numbers)


async def test_a_reading_without_a_number_that_was_held_up_cannot_be_dated() -> None:
    meter = Meter(VirtualClock(), numbered=False, interval_s=0.5, shows=float)
    meter.at[12] = lambda: meter.clock.advance(1.6)
    found = [sample async for sample in readings_of(meter, 10.0)]
    for sample in found:
        assert abs(sample.age_s - 0.5 * sample.current_ma) <= 0.1


async def test_a_meter_that_shows_another_value_at_every_look_is_not_believed_so_often() -> None:
    meter = Meter(VirtualClock(), numbered=False, interval_s=1.0)
    meter.shows = lambda _: meter.clock.now_s()
    assert len(await ages(meter, until_s=30.0)) <= 1.5 * 30


@pytest.mark.parametrize("rate", [0.95, 1.05])
async def test_a_rate_that_is_a_little_off_is_no_gap(rate: float) -> None:
    meter = Meter(VirtualClock(), rate=rate)
    meter.at[9] = lambda: meter.clock.advance(20)
    assert len(await ages(meter, until_s=25)) > 20


@pytest.mark.parametrize("rate", [0.7, 1.0, 1.3])
async def test_a_meter_that_counts_at_another_rate_than_stated_leaves_the_ages_right(
    rate: float,
) -> None:
    meter = Meter(VirtualClock(), 0.02, rate=rate, shows=float)
    found = [sample async for sample in readings_of(meter, 6.0)]
    assert len(found) > 10
    for age_s, number in found:
        assert age_s == pytest.approx(number * INTERVAL_S / rate, abs=1.5 * INTERVAL_S / rate)


async def test_a_number_that_runs_back_is_no_reading() -> None:
    meter = Meter(VirtualClock(), ahead_s=5.0)
    meter.at[9] = lambda: setattr(meter, "ahead_s", 0.0)
    with pytest.raises(ProtocolError, match="ran back from 58 to 9"):
        await ages(meter)


async def test_a_number_that_stands_still_is_a_meter_that_stopped() -> None:
    with pytest.raises(ProtocolError, match="no new reading for 25"):
        await ages(Meter(VirtualClock(), rate=0.0))


@pytest.mark.parametrize("gap_s", [0.4, 3.0, 600.0])
async def test_a_gap_that_only_the_meter_saw_voids_the_activation(gap_s: float) -> None:
    meter = Meter(VirtualClock())
    meter.at[9] = lambda: setattr(meter, "ahead_s", gap_s)
    with pytest.raises(ActivationVoid, match="the clock at most") as caught:
        await ages(meter)
    assert "A digit of a reading's number was changed" in str(caught.value)


async def test_a_meter_that_paused_voids_the_activation() -> None:
    meter = Meter(VirtualClock())

    readings = readings_of(meter, 3.0)
    for _ in range(9):
        await anext(readings)
    meter.clock.advance(1.0)
    meter.ahead_s -= 0.5
    with pytest.raises(ActivationVoid, match="the clock at least") as caught:
        await anext(readings)
    assert "sleep" not in str(caught.value)


@pytest.mark.parametrize("interval_s", [0.05, 0.1, 0.25, 0.5])
@pytest.mark.parametrize("pause_s", [0.8, 1.5])
@pytest.mark.parametrize("counts", [True, False])
async def test_a_pause_in_which_the_number_was_seen_to_stand_leaves_the_ages_right(
    interval_s: float, pause_s: float, counts: bool
) -> None:
    """The meter changes its range or holds its reply: no figure comes, and then it goes on."""
    meter = Pausing(VirtualClock(), interval_s=interval_s, counts=counts, pause_s=pause_s)
    for age_s, taken_at_s in await taken(meter, 6.0):
        assert taken_at_s <= age_s + 1e-6 <= taken_at_s + 1.5 * interval_s


@pytest.mark.parametrize("interval_s", [0.1, 0.25])
async def test_the_first_number_may_be_one_that_the_meter_holds(interval_s: float) -> None:
    meter = Pausing(VirtualClock(), interval_s=interval_s, began_s=0.4 * interval_s, pause_s=0.9)
    meter.clock.advance(1.2)
    assert len(await taken(meter, 6.0)) > 4 / interval_s


async def test_replies_that_come_late_and_then_together_are_no_gap() -> None:
    meter = Pausing(VirtualClock(), counts=False, pause_s=0.35)
    meter.at[20] = lambda: setattr(meter, "counts", True)  # all that were late are there at once
    assert len(await taken(meter, 3.0)) > 20


@pytest.mark.parametrize("counts", [True, False])
@pytest.mark.parametrize("numbered", [True, False])
async def test_a_sleep_of_the_machine_voids_the_activation(counts: bool, numbered: bool) -> None:
    clock = SleepyClock()
    clock.counts = counts
    meter = Meter(clock, numbered=numbered)
    meter.at[9] = lambda: clock.sleep_now(0.2)
    with pytest.raises(ActivationVoid, match="asleep"):
        await ages(meter)


async def test_the_rest_of_the_limit_is_counted_as_the_analyzer_does(
    make_rig: Callable[..., Any],
) -> None:
    rig = make_rig()
    analyzer = rig.bench.analyzer
    async with activation(rig.bench, load_ohm=300, power_w=100, limit_s=20) as opened:
        await rig.bench.clock.sleep(5)
        await refuse_cut_short(analyzer, opened)
        assert await analyzer.left_s() == pytest.approx(15, abs=0.1)
        opened._started_s += 4  # as if our clock had stood still for so long
        with pytest.raises(ActivationVoid, match=r"has 15.0 s left of its limit"):
            await refuse_cut_short(analyzer, opened)


async def test_a_limit_that_stands_still_is_not_laid_to_the_computers_sleep() -> None:
    """Would notice advice about sleep where the analyzer's own count is what is wrong."""

    class Analyzer:
        async def left_s(self) -> float:
            return 20.0

    clock = VirtualClock()
    opened = Opened(clock, 20.0)
    clock.advance(6)
    with pytest.raises(ActivationVoid, match="does not run down") as caught:
        await refuse_other_limit(Analyzer(), opened)  # type: ignore[arg-type]
    assert "sleep" not in str(caught.value)


async def test_one_damaged_answer_about_the_limit_voids_nothing() -> None:
    opened, answers = Opened(VirtualClock(), 20.0), iter([90.0, 20.0])

    class Analyzer:
        async def left_s(self) -> float:
            return next(answers)

    await refuse_other_limit(Analyzer(), opened)  # type: ignore[arg-type]
    assert next(answers, None) is None
