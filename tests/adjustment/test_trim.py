"""Where a trim stands, and the actions that move it."""

import pytest

from ohmwright.adjustment.actions import Move, Press
from ohmwright.adjustment.point import Keys
from ohmwright.adjustment.trim import Trim
from ohmwright.estimation.coefficients import Coefficient, combination

UNIT = combination(
    {Coefficient.LEVEL: 1.0, Coefficient.GAIN: 0.002, Coefficient.COARSE_PRESS: 0.001}
)


def test_the_output_after_an_action_is_that_after_it_was_done() -> None:
    for keys, actions in ((None, [Move(-7)]), (Keys(8), [Press("coarse", 2), Press("fine", -3)])):
        trim = Trim(keys)
        for action in actions:
            before = trim.output_after(None) @ UNIT
            foreseen, counts = trim.output_after(action) @ UNIT, trim.counts_after(action)
            match action:
                case Move(by):
                    trim.note_moved(by)
                case Press(key, times):
                    trim.note_pressed(key, times)
            assert foreseen == pytest.approx(trim.output_after(None) @ UNIT)
            assert foreseen != pytest.approx(before)
            assert counts == trim.counts


def test_a_coarse_press_comes_alone_and_a_remote_trim_moves_at_once() -> None:
    assert Trim(None).step_towards(23, 25) == Move(23)
    keys = Trim(Keys(10))
    assert keys.step_towards(23, 25) == Press("coarse", 2)
    assert keys.step_towards(4, 6) == Press("fine", 6)
    assert keys.step_towards(4, 0) is None


def test_a_probe_is_never_larger_than_asked_and_no_more_presses_than_a_person_takes() -> None:
    trim = Trim(Keys(10))
    assert trim.probe(-25, 1) == Press("coarse", -1)
    assert trim.probe(25, 6) == Press("coarse", 2)
    assert trim.probe(3, 6) == Press("fine", 3)
    assert trim.probe(8, 6) == Press("fine", 4)


def test_the_way_back_undoes_every_press() -> None:
    trim = Trim(Keys(10))
    for key, times in (("coarse", 2), ("fine", -3), ("coarse", -1)):
        trim.note_pressed(key, times)
    assert trim.return_to(0, 0) == [Press("coarse", -1), Press("fine", 3)]
