"""A meter that hangs is no quiet output."""

import numpy as np
import pytest

from ohmwright.engine.standing_reading import StandingReading
from ohmwright.model.errors import ProtocolError


def test_a_fine_figure_that_stands_still_is_no_reading() -> None:
    watch = StandingReading(0.1)
    for current_ma in [440.0, 452.3, *[458.0] * 9]:
        watch.note(current_ma)
    with pytest.raises(ProtocolError, match=r"458 mA again and again"):
        watch.note(458.0)


def test_a_coarse_digit_hides_the_noise() -> None:
    watch = StandingReading(1.0)
    for _ in range(50):
        watch.note(458.0)


def test_no_output_stands_at_zero() -> None:
    watch = StandingReading(0.1)
    for _ in range(50):
        watch.note(0.0)


@pytest.mark.parametrize("noise", [0.0005, 0.002])
def test_the_quietest_output_is_not_taken_for_it(noise: float) -> None:
    """Neighbours correlated by 0.7, an hour of readings at 10 Hz."""
    rng, watch, swing = np.random.default_rng(1), StandingReading(0.1), 0.0
    for shock in rng.normal(size=36_000):
        swing = 0.7 * swing + np.sqrt(1 - 0.7**2) * shock
        watch.note(round(458.0 * (1 + noise * swing), 1))
