"""What is done with readings that fall."""

from ohmwright.engine.output_loss import OutputLossDetector
from ohmwright.model.result import Sample


def passed_on(currents: list[float]) -> tuple[list[float], bool]:
    """What goes on to the policy, and whether the output is said to have gone."""
    detector, passed = OutputLossDetector(100.0), []
    for i, current_ma in enumerate(currents):
        passed += [s.current_ma for s in detector.valid_readings(Sample(0.1 * i, current_ma))]
        if detector.output_lost:
            break
    return passed, detector.output_lost


def test_a_rise_and_a_steady_output_go_on_at_once() -> None:
    rise = [0, 0, 1, 0, 120, 300, 380, 400, 401, 399]
    assert passed_on(rise) == (rise, False)


def test_an_output_that_goes_away_through_the_meter_s_window_is_seen_and_not_believed() -> None:
    assert passed_on([400, 401, 320, 240, 160, 80, 0]) == ([400, 401], True)


def test_a_spike_is_for_the_estimator_to_judge() -> None:
    spike = [400, 401, 20, 400, 399]
    assert passed_on(spike) == (spike, False)


def test_a_fall_that_a_move_has_caused_goes_on_when_it_ends() -> None:
    fall = [400, 330, 325, 324, 324]
    assert passed_on(fall) == (fall, False)
