"""Each reading has its age; where the clocks disagree over it there is none."""

from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import pytest

from ohmwright.engine.activation import activation
from ohmwright.engine.rested_activation import refuse_cut_short
from ohmwright.engine.sampling import refuse_other_limit, samples
from ohmwright.instruments.analyzer import Reading
from ohmwright.model.errors import ActivationVoid, ProtocolError
from ohmwright.model.result import Sample
from ohmwright.wire.clock import VirtualClock

pytestmark = pytest.mark.anyio
INTERVAL_S = 0.1


@dataclass
class MeterData:
    """Takes a reading every tenth of a second; a reply takes `delay_s`."""

    clock: VirtualClock
    delay_s: float = 0.0
    numbered: bool = True
    ahead_s: float = 0.0
    """How far its own clock is ahead of the bench's."""
    rate: float = 1.0
    at: dict[int, Callable[[], object]] = field(default_factory=dict)
    """What happens just before the so manieth fetch."""
    fetched: int = 0

    async def fetch(self) -> Reading:
        self.fetched += 1
        self.at.pop(self.fetched, lambda: None)()
        now_s = self.rate * self.clock.now_s() + self.ahead_s
        self.clock.advance(self.delay_s)
        number = int(now_s / INTERVAL_S + 1e-6)
        return Reading(100.0, number if self.numbered else None)


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
        self._clock, self._limit_s, self._started_s = clock, limit_s, clock.now_s()

    @property
    def age_s(self) -> float:
        return self._clock.now_s() - self._started_s

    @property
    def left_s(self) -> float:
        return self._limit_s - self.age_s


def readings_of(meter: MeterData, until_s: float) -> AsyncIterator[Sample]:
    opened: Any = Opened(meter.clock)
    return samples(opened, meter.fetch, meter.clock, INTERVAL_S, until_s)


async def ages(meter: MeterData, until_s: float = 3.0) -> list[float]:
    return [sample.age_s async for sample in readings_of(meter, until_s)]


@pytest.mark.parametrize("delay_s", [0.0, 0.03, 0.17, 0.9])
async def test_a_reading_seen_late_is_dated_by_its_number(delay_s: float) -> None:
    found = await ages(MeterData(VirtualClock(), delay_s))
    counts = [(later - earlier) / INTERVAL_S for earlier, later in pairwise(found)]
    assert len(counts) > 1
    assert counts == pytest.approx([round(count) for count in counts])


async def test_one_poll_that_is_late_does_not_smear_the_ages() -> None:
    meter = MeterData(VirtualClock())
    meter.at[9] = lambda: meter.clock.advance(0.07)
    found = await ages(meter)
    assert max(later - earlier for earlier, later in pairwise(found)) == pytest.approx(INTERVAL_S)


async def test_a_stop_that_every_clock_saw_leaves_the_ages_right() -> None:
    meter = MeterData(VirtualClock())
    meter.at[9] = lambda: meter.clock.advance(1.2)
    found = await ages(meter)
    assert found[8] - found[7] == pytest.approx(INTERVAL_S + 1.2)


async def test_a_reading_without_a_number_is_as_old_as_when_it_came() -> None:
    found = await ages(MeterData(VirtualClock(), delay_s=0.076, numbered=False))
    assert found == pytest.approx([0.176 * count for count in range(1, len(found) + 1)])


@pytest.mark.parametrize("rate", [0.95, 1.05])
async def test_a_rate_that_is_a_little_off_is_no_gap(rate: float) -> None:
    meter = MeterData(VirtualClock(), rate=rate)
    meter.at[9] = lambda: meter.clock.advance(20)
    assert len(await ages(meter, until_s=25)) > 20


async def test_a_number_that_runs_back_is_no_reading() -> None:
    meter = MeterData(VirtualClock(), ahead_s=5.0)
    meter.at[9] = lambda: setattr(meter, "ahead_s", 0.0)
    with pytest.raises(ProtocolError, match="ran back from 58 to 9"):
        await ages(meter)


async def test_a_number_that_stands_still_is_a_meter_that_stopped() -> None:
    with pytest.raises(ProtocolError, match="no new reading for 20"):
        await ages(MeterData(VirtualClock(), rate=0.0))


@pytest.mark.parametrize("gap_s", [0.4, 3.0, 600.0])
async def test_a_gap_that_only_the_meter_saw_voids_the_activation(gap_s: float) -> None:
    meter = MeterData(VirtualClock())
    meter.at[9] = lambda: setattr(meter, "ahead_s", gap_s)
    with pytest.raises(ActivationVoid, match="the clock at most"):
        await ages(meter)


async def test_a_meter_that_paused_voids_the_activation() -> None:
    meter = MeterData(VirtualClock())

    readings = readings_of(meter, 3.0)
    for _ in range(9):
        await anext(readings)
    meter.clock.advance(0.5)
    meter.ahead_s -= 0.5
    with pytest.raises(ActivationVoid, match="the clock at least"):
        await anext(readings)


@pytest.mark.parametrize("counts", [True, False])
@pytest.mark.parametrize("numbered", [True, False])
async def test_a_sleep_of_the_machine_voids_the_activation(counts: bool, numbered: bool) -> None:
    clock = SleepyClock()
    clock.counts = counts
    meter = MeterData(clock, numbered=numbered)
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


async def test_one_damaged_answer_about_the_limit_voids_nothing() -> None:
    opened, answers = Opened(VirtualClock(), 20.0), iter([90.0, 20.0])

    class Analyzer:
        async def left_s(self) -> float:
            return next(answers)

    await refuse_other_limit(Analyzer(), opened)  # type: ignore[arg-type]
    assert next(answers, None) is None
