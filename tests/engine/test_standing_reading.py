"""A meter that hangs is no quiet output."""

from typing import Any, cast

import numpy as np
import pytest

from ohmwright.adjustment.actions import TakeReading
from ohmwright.engine.adjustment_activation import KnownReadings, _carry_out_actions
from ohmwright.engine.sampling import HangingMeter
from ohmwright.engine.stop_rules import UntilDecided, UntilSettled
from ohmwright.estimation.activation_record import Question
from ohmwright.estimation.thermal_droop import ResidualWarmth
from ohmwright.model.errors import ProtocolError
from ohmwright.model.hardware import LONGEST_HOLD_S
from ohmwright.model.result import Sample


def hangs_after(readings_ma: list[float]) -> int:
    """Return how many readings, four a second, are taken in until the meter hangs."""
    watch, taken = HangingMeter(0.1), 0
    with pytest.raises(ProtocolError, match=r"coarser than the (0.1|1) mA that its data say"):  # noqa: PT012
        for taken, current_ma in enumerate(readings_ma, start=1):
            watch.note(0.25 * taken, current_ma)
    return taken


def test_a_fine_figure_that_stands_still_is_no_reading() -> None:
    quiet = [457.8, 458.1, 457.9, 458.3, 457.7, 458.4, 458.2, 457.6] * 4
    assert hangs_after([*quiet, *[458.0] * 30]) - len(quiet) == 21  # after 5 s


@pytest.mark.parametrize("before", [[], [0.0], [300.0, 440.0, 452.3]])
def test_a_fine_figure_of_a_rise_that_does_not_go_on_is_no_reading(before: list[float]) -> None:
    assert hangs_after([*before, *[458.0] * 30]) - len(before) == 21


def test_a_meter_that_hangs_before_its_noise_was_seen_does_so_for_20_s_at_most() -> None:
    for seen in ([300.0, 457.8], [457.8] * 3, [300.0, *[457.8] * 5]):
        assert hangs_after([*seen, *[458.0] * 199]) - len(seen) == 81


def test_no_trim_is_moved_by_a_meter_that_may_hang() -> None:
    """The policy had taken its own moves for ones without effect, and the unit was blamed."""
    known = KnownReadings(0.1)
    held = []
    for place, current_ma in enumerate([457.8, 458.1, 457.9, 458.3, *[458.0] * 6]):
        known.note(Sample(0.25 * place, current_ma))
        known.new()
        held.append(known.may_be_held)
    assert held == [False] * 7 + [True] * 3


@pytest.mark.parametrize("readings", [3, 5, 9])
def test_a_meter_that_smooths_its_readings_follows_the_output(readings: int) -> None:
    """The median of the latest ones, of a quiet output that droops by 0.4 %, in 100 activations."""
    rng = np.random.default_rng(1)
    for _ in range(100):
        watch, times_s = HangingMeter(0.1), 0.25 * np.arange(80)
        output_ma = 488.8 * (1 - np.exp(-times_s / 0.4)) * (1 - 0.004 * times_s / 20)
        read_ma = output_ma * (1 + 0.0005 * rng.normal(size=80))
        for place in range(readings, 80):
            figure_ma = float(np.median(read_ma[place - readings : place]))
            watch.note(float(times_s[place]), round(figure_ma, 1))


def test_a_coarse_digit_hides_the_noise() -> None:
    watch = HangingMeter(1.0)
    for place in range(50):
        watch.note(0.25 * place, 458.0)


def test_no_output_stands_at_zero() -> None:
    watch = HangingMeter(0.1)
    for place in range(50):
        watch.note(0.25 * place, 0.0)


@pytest.mark.parametrize("noise", [0.0005, 0.002])
def test_the_quietest_output_is_not_taken_for_it(noise: float) -> None:
    """Neighbours correlated by 0.7, an hour of readings at 10 Hz."""
    rng, watch, swing = np.random.default_rng(1), HangingMeter(0.1), 0.0
    for place, shock in enumerate(rng.normal(size=36_000)):
        swing = 0.7 * swing + np.sqrt(1 - 0.7**2) * shock
        watch.note(0.1 * place, round(458.0 * (1 + noise * swing), 1))


def test_a_meter_that_hangs_on_the_way_up_decides_nothing() -> None:
    """Far below the limit, nine times in a row."""
    rule = UntilDecided(Question(500.0, 20.0, 0.3, 0.1), ResidualWarmth(), lambda _: True)
    rising = [0.3, 90.1, 168.8, 233.2, 302.8]
    decided = [
        rule.read(0.5 + 0.25 * place, current_ma)
        for place, current_ma in enumerate([*rising, *[341.9] * 9])
    ]
    assert not any(decided[-6:])


@pytest.mark.parametrize("digit_ma", [0.1, 1.0, 5.0])
@pytest.mark.parametrize("has_target", [True, False])
@pytest.mark.parametrize("before", [[], [0.0, 0.0], [20.0, 60.0]])
def test_a_figure_held_on_the_way_up_decides_nothing_and_does_not_count(
    digit_ma: float, has_target: bool, before: list[float]
) -> None:
    """The meter changes its range for 1.5 s, four times a second; the output goes to 657 mA."""
    rule = rule_of(657.0, digit_ma, has_target)
    ages_s = 0.25 * np.arange(1, 60)
    shown_ma = [*before, *[145.0] * 7]
    rng = np.random.default_rng(1)
    while len(shown_ma) < len(ages_s):
        risen = 1 - np.exp(-(ages_s[len(shown_ma)] - 0.3) / 0.4)
        shown_ma.append(round(657 * risen * (1 + 0.001 * rng.normal()) / digit_ma) * digit_ma)
    held = len(before) + 7
    decided = next(
        place
        for place, reading in enumerate(zip(ages_s, shown_ma, strict=True))
        if rule.read(float(reading[0]), reading[1])
    )
    settled = rule.settled()
    assert decided >= held
    assert settled is not None
    assert settled.value == pytest.approx(657, rel=0.02)


def rule_of(target_ma: float, digit_ma: float, has_target: bool) -> UntilDecided | UntilSettled:
    if not has_target:
        return UntilSettled(6.0, 0.25, digit_ma, ResidualWarmth())
    asked = Question(target_ma, 0.08 * target_ma, 0.25, digit_ma, at_age_s=6.0)
    return UntilDecided(asked, ResidualWarmth(), lambda _: True)


def test_a_figure_that_stands_longer_than_any_change_of_range_decides_by_a_coarse_digit() -> None:
    rule = rule_of(500.0, 5.0, has_target=True)
    began_s, ages_s = 0.75, 0.25 * np.arange(1, 40)
    shown_ma = np.where(ages_s < began_s, 0.0, 500.0)
    decided_s = next(
        float(age_s)
        for age_s, ma in zip(ages_s, shown_ma, strict=True)
        if rule.read(float(age_s), float(ma))
    )
    assert LONGEST_HOLD_S <= decided_s - began_s <= LONGEST_HOLD_S + 1.5


class Hands:
    """They are at nothing."""

    waits = False

    def look(self, opened: Any) -> bool:
        return True


class Policy:
    """It has a move in store."""

    asked = 0

    def next_action(self) -> TakeReading:
        self.asked += 1
        return TakeReading()


@pytest.mark.anyio
async def test_a_move_in_store_waits_while_the_meter_may_hold_its_figure() -> None:
    known, policy, opened = KnownReadings(1.0), cast("Any", Policy()), cast("Any", None)
    asked = []
    for place, current_ma in enumerate([0.0, 143.0, 143.0, 143.0, 600.0]):
        known.note(Sample(0.25 * place, current_ma))
        assert await _carry_out_actions(policy, cast("Any", Hands()), opened, known)
        asked.append(policy.asked)
    assert asked == [1, 2, 3, 3, 4]


def test_an_adjustment_is_told_of_a_repeated_figure_once_it_is_known() -> None:
    known = KnownReadings(1.0)
    told = []
    for place, current_ma in enumerate([0, 143, 143, 143, 143, 600, 655, 655, 655, 656, 657]):
        known.note(Sample(0.25 * place, float(current_ma)))
        told.append([int(reading.current_ma) for reading in known.new()])
        assert known.may_be_held == (told[-1] == [])
        assert known.latest_ma == current_ma  # what is put on record beside a move
    assert told == [[0], [143], [143], [], [], [600], [655], [655], [], [655, 656], [657]]


def test_a_reading_of_no_current_is_never_held_back() -> None:
    known = KnownReadings(0.1)
    for place, current_ma in enumerate([0.0, 0.4, 0.4, 0.4, 0.4]):
        known.note(Sample(0.25 * place, current_ma))
        assert len(known.new()) == 1


def test_a_figure_that_stands_long_enough_is_told_with_all_its_repeats() -> None:
    known = KnownReadings(5.0)
    told = []
    for age_s in np.arange(0.0, LONGEST_HOLD_S + 0.5, 0.25):
        known.note(Sample(float(age_s), 500.0))
        told.append(len(known.new()))
    assert told[:3] == [1, 1, 0]
    assert sum(told) == len(told)
