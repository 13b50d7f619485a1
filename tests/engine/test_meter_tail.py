"""A meter's tail after OFF is no RF, and nothing that stays on passes for one."""

from collections.abc import Callable, Iterator
from math import exp
from typing import Any
from unittest.mock import Mock

import pytest

from ohmwright.engine.meter_tail import MeterTail
from ohmwright.engine.pending_events import PendingEvents
from ohmwright.engine.release import _shown_open, meter_shows_s
from ohmwright.engine.session import Session
from ohmwright.engine.unasked_rf import ensure_off_at_start
from ohmwright.instruments.analyzer import Reading
from ohmwright.model.errors import OffNotProved, ReleaseNotConfirmed
from ohmwright.model.hardware import MeterData

from .conftest import MeterKind

OFF = b"OUTPut:STATe OFF\n"
FILTERING = MeterKind(readings_per_s=10, window_s=0.5, resolution_ma=0.1)
Course = Callable[[float], float]
"""The share of the current before OFF that the meter shows so many seconds after OFF."""


def filtered(tau_s: float) -> Course:
    return lambda since_s: exp(-since_s / tau_s)


def tail_explains(meter: MeterData, course: Course, until_s: float) -> bool:
    """Whether a tail explains 900 mA that take such a course, asked for every 0.12 s."""
    tail = MeterTail(meter, 0.0)
    for asked_s in asked(until_s):
        shown_s = asked_s - asked_s % (1 / meter.readings_per_s)
        tail.take(Reading(round(900 * course(shown_s), 1), None), asked_s, asked_s + 0.01)
    return tail.explains


def asked(until_s: float) -> Iterator[float]:
    """Times in s after OFF at which a release asks for the current."""
    yield from (0.02 + 0.12 * n for n in range(int(until_s / 0.12)))


def meter_of(per_s: float, window_s: float) -> MeterData:
    return MeterData(
        max_current_ma=2500, resolution_ma=0.1, readings_per_s=per_s, window_s=window_s
    )


@pytest.mark.parametrize("per_s", [0.5, 1.0, 4.0, 10.0, 100.0])
@pytest.mark.parametrize("window_s", [0.2, 0.5, 2.0])
def test_what_falls_as_fast_as_the_window_allows_is_a_tail(per_s: float, window_s: float) -> None:
    meter = meter_of(per_s, window_s)
    assert tail_explains(meter, filtered(0.5 * window_s), 20.0)
    assert tail_explains(meter, filtered(window_s), 20.0)
    assert tail_explains(meter, lambda since_s: max(0.0, 1 - since_s / window_s), 20.0)


@pytest.mark.parametrize("per_s", [0.5, 1.0, 4.0, 10.0, 100.0])
@pytest.mark.parametrize("window_s", [0.2, 0.5, 2.0])
@pytest.mark.parametrize(
    "course",
    [
        lambda _: 1.0,
        lambda since_s: 1.0 - 0.01 * since_s,
        lambda since_s: exp(-since_s / 8.0),
        lambda since_s: max(0.3, exp(-since_s / 0.1)),
        lambda since_s: max(0.002, exp(-since_s / 0.02)),
        lambda since_s: 0.0 if since_s < 0.3 else 0.01,
    ],
    ids=["stuck", "droops", "creeps", "in part", "a leak", "comes back"],
)
def test_what_stays_on_is_none_by_the_time_a_person_is_warned(
    per_s: float, window_s: float, course: Course
) -> None:
    meter = meter_of(per_s, window_s)
    assert not tail_explains(meter, course, window_s + 2 / per_s + 1.0)


def test_a_reading_that_could_not_be_taken_ends_it() -> None:
    tail = MeterTail(meter_of(10, 0.5), 0.0)
    tail.take(Reading(900.0, None), 0.0, 0.01)
    tail.take(None, 0.1, 0.11)
    tail.take(Reading(500.0, None), 0.2, 0.21)
    assert not tail.explains


def test_nor_is_a_first_reading_a_tail_that_comes_long_after_off() -> None:
    tail = MeterTail(meter_of(10, 0.5), 0.0)
    tail.take(Reading(900.0, None), 3.0, 3.01)
    assert not tail.explains


def test_what_rises_by_a_tenth_after_off_is_none_though_it_falls_then() -> None:
    """Readings of one current differ by less (common practice, no source)."""

    def course(since_s: float) -> float:
        return 0.5 if since_s < 0.1 else 0.55 if since_s < 0.2 else 0.0

    assert not tail_explains(meter_of(10, 0.5), course, 5.0)


@pytest.mark.parametrize(("says_state", "by_hand"), [(True, True), (False, False)])
def test_what_a_person_typed_or_no_state_stands_behind_is_held_against_no_tail(
    says_state: bool, by_hand: bool
) -> None:
    """A person types so late that OFF without effect would pass for a tail."""
    analyzer = Mock(released_by_hand=by_hand)
    analyzer.protections.state_read_back = says_state
    bench = Mock(analyzer=analyzer)
    assert _shown_open(bench) is None
    analyzer.protections.state_read_back, analyzer.released_by_hand = True, False
    assert _shown_open(bench) is bench.rf.reading


def pausing(per_s: float, pause_s: float, left_ma: float) -> MeterTail:
    """What was read of a meter that stops counting for so long after OFF; `left_ma` flows then."""
    tail = MeterTail(meter_of(per_s, 0.5), 0.0)
    for asked_s in asked(pause_s + 1.0):
        goes_on = asked_s >= pause_s
        number = 40 + goes_on * (1 + int(per_s * (asked_s - pause_s)))
        tail.take(Reading(left_ma if goes_on else 900.0, number), asked_s, asked_s + 0.01)
    return tail


@pytest.mark.parametrize("per_s", [2.0, 10.0])
def test_a_reading_that_is_given_again_while_the_meter_changes_its_range_is_no_rf(
    per_s: float,
) -> None:
    assert pausing(per_s, 2.3, 0.0).explains
    assert not pausing(per_s, 2.3, 60.0).explains, "what is new and does not fall is RF"
    assert not pausing(per_s, 3.0, 0.0).explains, "no change of range lasts so long"


class Hardware:
    """The simulated analyzer with a meter of its own after OFF, and told what was said to anyone.

    `obeys`: whether OFF opens the contact; where it does not, state and limit read off all the
    same once it was sent, and only the limit ends the current.
    """

    def __init__(self, rig: Any, course: Course, *, obeys: bool = True) -> None:
        self._clock, self._course, self._obeys = rig.bench.clock, course, obeys
        self._truth = rig.hardware.truth
        self.off_s: float | None = None
        self.state = b"0\n"
        """What it says of its output, and of its limit, after OFF."""
        self._shown = b""
        self.warned = list[str]()
        link = rig.bench.analyzer.dialogue.framing.link
        self._handle, link._handle = link._handle, self._answer
        rig.bench.operator.tell = self._tell

    async def _tell(self, words: str) -> None:
        self.warned += [words] * ("MAY STILL" in words)

    def _answer(self, line: bytes) -> bytes:
        reply = b"" if line == OFF and not self._obeys else self._handle(line)
        if line == OFF:
            self.off_s = self.off_s or self._ended_s()
        elif self.off_s is not None and (b"STATe?" in line or b"REMaining?" in line):
            return self.state
        elif line.startswith(b"FETCh:CURRent"):
            return self._read(reply)
        return reply

    def _ended_s(self) -> float | None:
        return None if self._truth.rf_on_s == 0 else self._clock.now_s()

    def _read(self, reply: bytes) -> bytes:
        if self.off_s is None or self._truth.rf_on:
            self._shown = reply
            return reply
        value, number = self._shown.split(b",")[0], reply.rsplit(b",", 1)[1]
        gone_s = self._clock.now_s() - self.off_s
        fallen_ma = round(1e4 * float(value) * self._course(gone_s)) / 1e4
        return f"{fallen_ma:+.5E},A,".encode() + number


async def released(rig: Any, *, on_s: float, limit_s: float) -> Session:
    """A session after an activation that ends after `on_s`, with its current seen."""
    rig.hardware.panel.select("cut", 150.0)
    session = Session(rig.bench)
    async with session.activation(load_ohm=500, power_w=150, limit_s=limit_s) as opened:
        await rig.bench.clock.sleep(on_s)
        opened.note_current((await rig.bench.analyzer.fetch_current()).current_ma)
    return session


@pytest.mark.anyio
@pytest.mark.parametrize("left_s", [0.3, 0.8, 5.0])
@pytest.mark.parametrize("tau_s", [0.25, 0.45])
async def test_a_tail_that_outlasts_the_limit_is_no_off_without_effect(
    make_rig: Callable, left_s: float, tau_s: float
) -> None:
    rig = make_rig(meter=FILTERING)
    await ensure_off_at_start(rig.bench, PendingEvents())
    hardware = Hardware(rig, filtered(tau_s))
    await released(rig, on_s=8.0 - left_s, limit_s=8.0)
    assert rig.bench.rf.state == "off"
    assert hardware.warned == []


@pytest.mark.anyio
async def test_what_is_no_tail_is_warned_of_and_told_as_it_was_seen(make_rig: Callable) -> None:
    """Whether OFF or the limit ended the current cannot be told then, and is not claimed."""
    rig = make_rig(meter=FILTERING)
    await ensure_off_at_start(rig.bench, PendingEvents())
    hardware = Hardware(rig, lambda since_s: 0.006 if since_s < 2.2 else 0.0)
    with pytest.raises(OffNotProved, match=r"OFF MAY NOT SWITCH OFF: .* a current was read") as it:
        await released(rig, on_s=7.2, limit_s=8.0)
    assert len(hardware.warned) == 1
    assert "window_s" in it.value.do
    assert it.value.exit_code == ReleaseNotConfirmed.exit_code


@pytest.mark.anyio
async def test_a_late_meter_says_nothing_of_off_where_the_limit_came_first(
    make_rig: Callable,
) -> None:
    """So it is where the limit itself is proved; a person is warned all the same."""
    rig = make_rig(meter=FILTERING)
    await ensure_off_at_start(rig.bench, PendingEvents())
    hardware = Hardware(rig, lambda since_s: 0.9 if since_s < 2.2 else 0.0)
    await released(rig, on_s=8.1, limit_s=8.0)
    assert len(hardware.warned) == 1
    assert "'window_s' in its data" in rig.bench.rf.off_after_warning
    assert "while it changes its range" in rig.bench.rf.off_after_warning


@pytest.mark.anyio
@pytest.mark.parametrize("left_s", [1.5, 2.5, 3.5])
async def test_off_that_does_nothing_is_found_though_the_state_reads_off(
    make_rig: Callable, left_s: float
) -> None:
    """The meter's tail begins at the limit then, and not with OFF."""
    rig = make_rig(meter=FILTERING)
    await ensure_off_at_start(rig.bench, PendingEvents())
    hardware = Hardware(rig, filtered(0.25), obeys=False)
    with pytest.raises(OffNotProved, match="OFF MAY NOT SWITCH OFF"):
        await released(rig, on_s=8.0 - left_s, limit_s=8.0)
    assert len(hardware.warned) == 1


@pytest.mark.anyio
@pytest.mark.parametrize("state", [b"0\n", b"1\n"])
async def test_a_current_that_stays_is_warned_of_as_soon_as_ever(
    make_rig: Callable, state: bytes
) -> None:
    """A contact that reads closed speaks for RF whatever the meter showed before ON."""
    rig = make_rig(meter=FILTERING)
    await ensure_off_at_start(rig.bench, PendingEvents())
    hardware, clock, warned_s = Hardware(rig, lambda _: 0.05), rig.bench.clock, list[float]()
    hardware.state = state

    async def tell(words: str) -> None:
        warned_s.append(clock.now_s())

    rig.bench.operator.tell = tell
    with pytest.raises(ReleaseNotConfirmed, match="RF MAY STILL BE ON"):
        await released(rig, on_s=3.0, limit_s=20.0)
    assert rig.bench.rf.state == "on"
    assert hardware.off_s is not None
    assert warned_s[0] - hardware.off_s < meter_shows_s(rig.bench) + 0.5


@pytest.mark.anyio
@pytest.mark.parametrize(
    ("course", "only_fell"),
    [(filtered(2.5), True), (lambda _: 0.05, False), (lambda since_s: 0.05 + since_s / 100, False)],
    ids=["falls", "stays", "rises"],
)
async def test_what_only_falls_is_told_as_a_slower_meter_shows_it(
    make_rig: Callable, course: Course, only_fell: bool
) -> None:
    """It is an alarm all the same; minutes later such a meter shows nothing to whoever looks."""
    rig = make_rig(meter=FILTERING)
    await ensure_off_at_start(rig.bench, PendingEvents())
    Hardware(rig, course)
    with pytest.raises(ReleaseNotConfirmed, match="RF MAY STILL BE ON") as alarm:
        await released(rig, on_s=3.0, limit_s=20.0)
    assert ("only fell after OFF" in alarm.value.happened) == only_fell
