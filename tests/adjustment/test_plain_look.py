"""What the readings show without a model: places that differ, the target between two of them."""

import numpy as np
import pytest

from ohmwright.adjustment.activation_log import ActivationLog
from ohmwright.adjustment.plain_look import PlainLook
from ohmwright.adjustment.trim import Trim
from ohmwright.estimation.activation_record import Question

QUESTION = Question(500.0, 5.0, 0.5, 1.0)


def look_at(stays, droop=None, noise=0.5, output=lambda age_s, level: level) -> PlainLook:
    """`stays`: counts moved, level and length in s of each; four readings a second."""
    rng, log, age_s = np.random.default_rng(1), ActivationLog(QUESTION, Trim(None).position(), 0), 0
    look = PlainLook(QUESTION, droop)
    look.begin_activation(log, 0)
    for counts, level, lasts_s in stays:
        if age_s > 0:
            change = np.zeros(4)
            change[1] = counts
            log.note_step(age_s, change)
        for _ in range(round(4 * lasts_s)):
            age_s += 0.25
            log.note_reading(age_s, round(output(age_s, level) + noise * rng.normal()))
    return look


def test_places_that_differ_show_their_slope_and_what_lies_between() -> None:
    look = look_at([(0, 480, 4), (20, 500, 2), (20, 520, 2)])
    low, high = look.two_that_differ() or pytest.fail("they differ")
    assert (low.counts, high.counts) == (0, 40)
    assert look.slope() * 500 == pytest.approx(1.0, abs=0.1)
    assert look.contradicts(-0.1)
    assert not look.contradicts(0.1)
    assert look.two_about_target() == (low, high)
    still = look.latest_still()
    assert still is not None
    assert still.counts == 40


def test_a_place_is_seen_once_the_output_stood_there_for_as_long_as_it_rose() -> None:
    """The output below comes to 70 % of its way up in 3.6 s."""
    slow = rise(3.0)
    assert look_at([(0, 500, 6), (12, 500, 2), (40, 500, 1)], output=slow).widest_seen() == 0
    assert look_at([(0, 500, 6), (12, 500, 5), (-40, 500, 1)], output=slow).widest_seen() == 12
    assert look_at([(0, 500, 6), (12, 500, 5), (-40, 500, 5)], output=slow).widest_seen() == 40


@pytest.mark.parametrize(("level", "shows"), [(300, True), (460, False)])
def test_readings_that_had_not_settled_show_a_change_that_is_large_beside_that(
    level: int, shows: bool
) -> None:
    """In the last third they fall by 26 mA, a tenth of the one change, 40 % of the other."""
    look = look_at(
        [(0, 500, 6), (-29, level, 5)],
        output=lambda age_s, mean: mean + (20.0 * (9.0 - age_s) if age_s > 6 else 0.0),
    )
    assert (look.slope() != 0) == shows


def test_what_was_seen_in_an_activation_counts_afterwards_unless_it_ended_by_itself() -> None:
    for timed_out in (False, True):
        look = look_at([(0, 480, 4), (40, 520, 3)])
        look.end_activation(timed_out=timed_out)
        assert (look.two_that_differ() is None) == timed_out


def test_places_on_one_side_of_the_target_have_it_not_between_them() -> None:
    look = look_at([(0, 450, 4), (40, 480, 3)])
    assert look.two_that_differ() is not None
    assert look.two_about_target() is None


def rise(lag_s):
    return lambda age_s, level: level * (1 - np.exp(-age_s / lag_s))


def droop(part):
    return lambda age_s, level: level * (1 - part * (1 - np.exp(-age_s / 8)))


@pytest.mark.parametrize(
    ("output", "stated"),
    [(rise(0.5), None), (rise(1.5), None), (droop(0.015), None), (droop(0.05), 0.05)],
)
def test_a_rise_and_a_droop_are_no_effect_of_a_dead_trim(output, stated) -> None:
    stays = [(0, 530, 4), (13, 530, 2), (52, 530, 2), (-80, 530, 2), (100, 530, 6)]
    look = look_at(stays, stated, output=output)
    assert look.two_that_differ() is None
    assert look.slope() == 0


@pytest.mark.parametrize("part", [0.1, 0.2, 0.3])
def test_a_creep_contradicts_no_gain(part) -> None:
    """The output still rises while the trim, which lowers it, is moved on."""
    stays = [(0, 515, 1.5), (9, 512, 1.5), (27, 505, 1.5), (6, 503, 2), (3, 502, 3)]
    look = look_at(stays, output=lambda age_s, level: level * (1 - part * np.exp(-age_s / 3.3)))
    assert look.slope() > 0
    assert not look.contradicts(-0.1)


def test_a_first_move_amid_the_rise_shows_no_slope() -> None:
    """The output creeps at first, as if it had settled: 20 mA, then 190 mA four counts farther."""
    look = look_at(
        [(0, 500, 0.75), (4, 500, 6)],
        output=lambda age_s, level: level * (0.04 if age_s < 1.0 else 1 - np.exp(1 - 3 * age_s)),
    )
    assert look.slope() == 0
    assert look.two_that_differ() is None


def test_readings_amid_the_swings_of_the_rise_show_no_place() -> None:
    """A flat peak, 20 % too high, then the trim is moved, which does nothing."""

    def swings(age_s: float, level: float) -> float:
        return float(level * (1 - np.exp(-age_s / 1.5) * np.cos(1.6 * age_s)))

    stays = [(0, 500, 2.25), (9, 500, 8)]
    assert look_at(stays, output=swings).two_that_differ() is not None
    look = look_at(stays, output=swings)
    look.note_swings(6.0)
    assert look.two_that_differ() is None
    assert [stay.counts for stay in look.stays] == [9]


FEEBLE_TRIMS = (7, 18, 19, 22, 15, 16)
"""Places of a trim that moves an output by 0.1 % a count, no more than a usual droop in all."""


@pytest.mark.parametrize(("per_count_ma", "shows"), [(0.5, True), (0.0, False)])
def test_outputs_in_line_with_the_trim_show_it_at_work(per_count_ma: float, shows: bool) -> None:
    """Beside a droop of 1 %, which alone shows nothing of the trim."""
    moves = np.diff(FEEBLE_TRIMS, prepend=0)
    stays = [(0, 492.0, 6)]
    for at, moved in zip(FEEBLE_TRIMS, moves, strict=True):
        stays.append((int(moved), 492.0 + per_count_ma * at, 3))
    look = look_at(stays, noise=0.3, output=droop(0.01))
    pair = look.two_that_differ()
    assert (pair is not None) == shows
    if pair is not None:
        assert {one.counts for one in pair} == {0, 22}


def in_line(times_sd: float) -> PlainLook:
    """Outputs that sink with age and follow the trim, by so many standard uncertainties."""
    counts, lasts_s = np.array([0, 4, 9, 12, 18, 23, 26]), 8.0
    ended_s = lasts_s * np.arange(1, counts.size + 1)
    columns = np.column_stack([counts, np.ones(counts.size), ended_s])
    left = np.array([1.0, -1.0, 2.0, -2.0, 1.0, -1.0, 1.0])
    left -= columns @ np.linalg.lstsq(columns, left)[0]
    variance = left @ left / (counts.size - 3)
    slope_sd = np.sqrt(variance * np.linalg.inv(columns.T @ columns)[0, 0])
    level = 500.0 - 3.0 * ended_s + times_sd * slope_sd * counts + left
    moves = np.diff(counts, prepend=0)
    stays = [(int(moved), at, lasts_s) for moved, at in zip(moves, level, strict=True)]
    return look_at(stays, droop=1.0, noise=0.0)


@pytest.mark.parametrize(("times_sd", "shows"), [(0.0, False), (4.0, False), (7.0, True)])
def test_outputs_about_in_line_by_chance_show_nothing(times_sd: float, shows: bool) -> None:
    """The trim is moved one way while the output sinks, as a drift alone would have it."""
    assert (in_line(times_sd).two_that_differ() is not None) == shows
