"""An output out of bounds, and a target out of reach, with its cause."""

import numpy as np
import pytest

from ohmwright.adjustment.actions import Move
from ohmwright.adjustment.activation_log import ActivationLog
from ohmwright.adjustment.parameters import Parameters
from ohmwright.adjustment.point import Keys, PointSpec
from ohmwright.adjustment.runaway_check import RunawayCheck
from ohmwright.adjustment.step_sizing import StepSizer
from ohmwright.adjustment.trim import Trim
from ohmwright.estimation.activation_record import Question
from ohmwright.estimation.mixture import Mixture

QUESTION = Question(500.0, 5.0, 0.5, 1.0)


def at(mean: float, sd: float = 0.001) -> Mixture:
    return Mixture(np.ones(1), np.array([mean]), np.array([sd]), 30.0)


def check(
    keys: Keys | None = None, reach: tuple[int, int] | None = None
) -> tuple[RunawayCheck, Trim]:
    spec = PointSpec(QUESTION, 40.0, 30.0, keys, range=reach)
    trim = Trim(keys)
    return RunawayCheck(Parameters(), StepSizer(spec, Parameters(), trim)), trim


def rise_to(*outputs: float) -> ActivationLog:
    """An activation with these readings, relative to the target."""
    log = ActivationLog(QUESTION, np.zeros(4), 0.0)
    for age_s, output in enumerate(outputs):
        log.note_reading(age_s, output * QUESTION.target)
    return log


@pytest.mark.parametrize(("keys", "bound"), [(None, 0.35), (Keys(), 0.55)])
def test_only_a_move_can_run_away_and_only_beyond_the_bound(keys, bound) -> None:
    checked, trim = check(keys)
    assert not checked.is_runaway(at(0.9), rise_to(0.9))
    assert not checked.is_runaway(at(0.1), rise_to(0.1))  # no move: the output does so by itself
    trim.note_moved(5)
    trim.make_origin()
    assert not checked.is_runaway(at(1.1 + bound - 0.01), rise_to(1.1 + bound))
    assert not checked.is_runaway(at(1.1 + bound + 0.01), rise_to(1.0))  # no reading on its way
    assert not checked.is_runaway(at(1.1 + bound + 0.01), rise_to(0.4))  # nor one that still rises
    assert checked.is_runaway(at(1.1 + bound + 0.01), rise_to(1.2))
    assert checked.is_runaway(at(0.9 - bound - 0.01), rise_to(0.8))
    assert checked.runaways == 2


def test_what_the_rise_overshot_at_the_start_is_no_runaway_after_a_move() -> None:
    checked, trim = check()
    assert not checked.is_runaway(at(1.4), rise_to(0.5, 1.3, 1.0))
    trim.note_moved(5)
    trim.make_origin()
    assert not checked.is_runaway(at(1.8), rise_to(0.5, 1.32))
    assert checked.is_runaway(at(1.8), rise_to(0.5, 1.32, 1.45))


def test_why_a_target_is_out_of_reach() -> None:
    checked, trim = check(reach=(-5, 5))
    trim.note_moved(5)
    off, gain = at(0.95), at(0.002, 0.0001)
    assert "range ends" in (checked.why_unreachable(off, gain, None, refuted=False) or "")
    assert checked.why_unreachable(off, gain, Move(1), refuted=False) is None
    assert checked.why_unreachable(at(1.0), gain, None, refuted=False) is None
    coarse = at(0.05, 0.001)
    free, _ = check()
    assert "no count" in (free.why_unreachable(at(0.98), coarse, None, refuted=True) or "")
    assert free.why_unreachable(at(0.98), coarse, None, refuted=False) is None
