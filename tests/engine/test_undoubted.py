"""What makes doubt of readings: output that comes and goes, and noise that only looks like it."""

import pytest

from ohmwright.engine.undoubted import doubt_in
from ohmwright.model.result import Sample

NO_OUTPUT_MA = 3.0


def readings(*currents_ma: float) -> list[Sample]:
    return [Sample(0.1 * k, current_ma) for k, current_ma in enumerate(currents_ma)]


@pytest.mark.parametrize("currents_ma", [(0, 2, 4, 3, 5, 9, 15), (2, 4, 3, 4, 5, 3, 4)])
def test_noise_about_the_least_current_interrupts_nothing(currents_ma: tuple[float, ...]) -> None:
    assert doubt_in(readings(*currents_ma), NO_OUTPUT_MA) is None


def test_a_current_that_has_come_and_is_gone_was_interrupted() -> None:
    assert doubt_in(readings(0, 5, 14, 15, 1, 12, 15), NO_OUTPUT_MA) == "interrupted"


def test_a_current_that_stays_gone_was_seen_all_the_same() -> None:
    """It was told as none seen, and as a leakage it passed: nothing leaks."""
    gone = (0, 5, 14, 200, 210, *[0] * 20)
    assert doubt_in(readings(*gone), NO_OUTPUT_MA) == "interrupted"
    assert doubt_in(readings(*[0, 2, 1] * 5), NO_OUTPUT_MA) == "no output"
