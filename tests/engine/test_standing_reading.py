"""A meter that hangs is no quiet output."""

import numpy as np
import pytest

from ohmwright.engine.sampling import StandingReading
from ohmwright.engine.stop_rules import UntilDecided
from ohmwright.estimation.activation_record import Question
from ohmwright.estimation.thermal_droop import ResidualWarmth
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


def test_a_meter_that_hangs_on_the_way_up_decides_nothing() -> None:
    """Far below the limit, nine times in a row: with the tenth the run ends."""
    rule = UntilDecided(Question(500.0, 20.0, 0.3, 0.1), ResidualWarmth(), lambda _: True)
    rising = [0.3, 90.1, 168.8, 233.2, 302.8]
    decided = [
        rule.read(0.5 + 0.25 * place, current_ma)
        for place, current_ma in enumerate([*rising, *[341.9] * 9])
    ]
    assert not any(decided[-6:])
