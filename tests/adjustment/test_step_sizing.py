"""How far a step may lead: the output's bound, the stated gain, the side that is off already."""

import numpy as np
import pytest

from ohmwright.adjustment.actions import Move
from ohmwright.adjustment.parameters import Parameters
from ohmwright.adjustment.point import PointSpec
from ohmwright.adjustment.step_sizing import StepSizer
from ohmwright.adjustment.trim import Trim
from ohmwright.estimation.activation_record import Question
from ohmwright.estimation.mixture import Mixture

TARGET, TOLERANCE = 900.0, 9.0
QUESTION = Question(TARGET, TOLERANCE, 0.5, 1.0)


def of(mean: float, sd: float) -> Mixture:
    """Given in mA; relative to the target."""
    return Mixture(np.ones(1), np.array([mean / TARGET]), np.array([sd / TARGET]), 30.0)


def sizer(**more) -> StepSizer:
    return StepSizer(PointSpec(QUESTION, 40.0, 30.0, **more), Parameters(), Trim(None))


def counts(action) -> int:
    assert isinstance(action, Move)
    return action.counts


def probed(steps: StepSizer, output: Mixture, gain: Mixture) -> int:
    """The next probe, carried out."""
    steps.note_output(output, gain, output.mean)
    probe = steps.next_probe if steps.probes else steps.first_probe
    by = counts(probe(output, gain))
    steps.trim.note_moved(by)
    return by


@pytest.mark.parametrize("gain", [of(0.5, 0.2), of(0.2, 0.3), of(-0.4, 0.15)])
def test_no_step_leads_beyond_the_bound_at_the_largest_gain_still_credible(gain) -> None:
    steps, output = sizer(highest=1000.0), of(970.0, 3.0)
    steps.trim.note_moved(20)
    steps.note_output(output, gain, output.mean)
    upwards, downwards = ((gain.mean + side * 3 * gain.sd) * TARGET for side in (1, -1))
    for by in (400, -400):
        at_worst = max(steps.reachable(by) * each for each in (upwards, downwards))
        assert at_worst <= 30.0 + 1e-9
    free = sizer()
    assert free.reachable(400) == 400


def test_a_reading_above_the_estimate_leaves_the_less_room() -> None:
    steps, gain = sizer(highest=1000.0), of(1.0, 0.1)
    steps.note_output(of(900.0, 3.0), gain, 990.0 / TARGET)
    assert steps.reachable(100) == 7


def test_an_output_at_its_bound_is_probed_by_the_first_size_alone() -> None:
    steps = sizer(highest=1000.0)
    assert probed(steps, of(1005.0, 3.0), of(0.0, 15.0)) == Parameters().probing.first_counts
    assert steps.reachable(50) == 1


@pytest.mark.parametrize(("estimated", "largest"), [(of(0.05, 0.01), 1.2), (of(5.0, 2.0), 1.8)])
def test_a_stated_gain_bounds_the_gain_from_both_sides_until_the_unit_showed_its_own(
    estimated, largest
) -> None:
    steps = sizer(stated_gain=1.2)
    assert steps.largest_gain(estimated) * TARGET == pytest.approx(largest)
    steps.note_gain(of(0.3, 0.01))
    assert steps.largest_gain(of(0.3, 0.01)) * TARGET == pytest.approx(0.33)


def test_a_probe_does_not_grow_on_the_wrong_side_of_a_limit() -> None:
    """Seen: from 935 mA, 26 above the upper limit, by 124 counts, to where 1059 mA flow."""
    unsure = of(0.05, 0.12)
    off, on_target = sizer(), sizer()
    for steps, output in ((off, of(935.0, 2.4)), (on_target, of(900.0, 2.4))):
        assert probed(steps, output, of(0.0, 15.0)) == 13
        steps.trim.note_moved(18)
    by = probed(off, of(935.0, 2.4), unsure)
    assert abs(by) * (0.05 + 3 * 0.12) <= Parameters().probing.outward_tolerances * TOLERANCE
    assert abs(probed(on_target, of(900.0, 2.4), unsure)) > 2 * abs(by)


def test_a_gain_that_seems_none_leads_no_farther_than_what_was_seen_allows() -> None:
    """By the estimate alone the target would be 400 counts away."""
    steps, gain = sizer(), of(0.05, 0.005)
    free = steps.next_move(of(880.0, 3.0), gain, gain, 0.2)
    bounded = steps.next_move(of(880.0, 3.0), gain, gain, 0.2, steps.most_counts_of_moves())
    assert (counts(free), counts(bounded)) == (392, 64)
