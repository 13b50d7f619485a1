"""Lost motion at reversals: seen for what it is, and avoided."""

import pytest

from ohmwright.adjustment.actions import Move, Press
from ohmwright.adjustment.backlash import Backlash
from ohmwright.adjustment.parameters import Parameters
from ohmwright.adjustment.point import PointSpec
from ohmwright.adjustment.step_sizing import StepSizer
from ohmwright.adjustment.trim import Trim
from ohmwright.estimation.activation_record import Question

GAIN = 0.002


def after(*moves: int, reach: tuple[int, int] | None = None) -> Backlash:
    spec = PointSpec(Question(500.0, 5.0, 0.5, 1.0), 40.0, 30.0, range=reach)
    backlash = Backlash(StepSizer(spec, Parameters(), Trim(None)))
    for counts in moves:
        backlash.note_moved(counts)
    return backlash


@pytest.mark.parametrize(
    ("moves", "surprise", "play"),
    [
        ((20, -12), 8 * GAIN, 8.0),  # eight counts down did nothing: the output is higher
        ((20, -12), -8 * GAIN, 0.0),  # they did more than was foretold: no play
        ((-20, 12), -8 * GAIN, 8.0),
        ((20, 12), -8 * GAIN, 0.0),  # never reversed
        ((20, -4), 40 * GAIN, 6.0),  # no more than such a run can have lost
    ],
)
def test_only_less_than_foretold_after_a_reversal_is_play(
    moves: tuple[int, ...], surprise: float, play: float
) -> None:
    backlash = after(*moves)
    backlash.note_misprediction(surprise, GAIN)
    assert backlash.play_counts == pytest.approx(play)


def test_a_trim_with_play_is_brought_to_every_place_from_the_same_side() -> None:
    backlash = after(20, -12)
    assert backlash.run_up(Move(5), 2 * GAIN) == [Move(5)]
    backlash.note_misprediction(8 * GAIN, GAIN)
    assert backlash.run_up(Move(-5), GAIN) == [Move(-5)]
    first, second = backlash.run_up(Move(5), GAIN)
    assert isinstance(first, Move)
    assert isinstance(second, Move)
    assert first.counts + second.counts == 5
    assert second.counts < -8
    assert backlash.run_up(Press("fine", 3), GAIN) == [Press("fine", 3)]


def test_a_run_up_keeps_the_range_and_the_excursion() -> None:
    backlash = after(20, -12, reach=(-30, 9))
    backlash.note_misprediction(8 * GAIN, GAIN)
    assert backlash.run_up(Move(5), GAIN)[0] == Move(9)
    assert backlash.run_up(Move(9), GAIN) == [Move(9)]  # nothing is sent that moves nothing
    first = backlash.run_up(Move(1), 0.05)[0]
    assert isinstance(first, Move)
    assert first.counts <= 3
