"""Where a trim is left that could not be adjusted."""

import numpy as np
import pytest

from ohmwright.adjustment.best_place import PlacesSeen
from ohmwright.estimation.mixture import Mixture


def at(mean: float, sd: float = 0.002) -> Mixture:
    return Mixture(np.ones(1), np.array([mean]), np.array([sd]), 30.0)


@pytest.mark.parametrize(
    ("start", "there", "left_at"),
    [
        (at(0.95), at(1.003), 12),
        (at(0.95), at(1.06), None),  # farther off, beyond the target
        (at(0.99, 0.01), at(1.003), None),  # nearer, but not beyond doubt
        (at(1.0), at(1.0), None),
    ],
)
def test_only_a_place_that_is_surely_better_than_the_start(
    start: Mixture, there: Mixture, left_at: int | None
) -> None:
    seen = PlacesSeen(0.01)
    seen.note_seen(0, 0, start)
    seen.note_seen(12, 0, there)
    best = seen.best()
    assert (None if best is None else best.counts) == left_at


def test_the_latest_look_at_a_place_counts() -> None:
    seen = PlacesSeen(0.01)
    seen.note_seen(0, 0, at(0.95))
    seen.note_seen(12, 0, at(1.0, 0.001))
    seen.note_seen(12, 0, at(1.07))
    assert seen.best() is None
    assert "back at its start" in seen.description()


def test_a_place_is_taken_as_foretold_until_a_look_says_more() -> None:
    """After a rest that was too short a look says little."""
    seen = PlacesSeen(0.01)
    seen.note_seen(0, 0, at(0.95))
    seen.expect(12, 0, at(1.0, 0.004))
    seen.note_seen(12, 0, at(1.01, 0.02))
    assert "is expected nearest the target, 0.00 ± 0.80 tolerances off" in seen.description()
    seen.note_seen(12, 0, at(1.004, 0.01))
    seen.expect(12, 0, at(1.0, 0.004))
    assert "was seen nearest the target, 0.40 ± 2.00 tolerances off" in seen.description()


def test_without_a_look_at_the_start_no_place_is_known_to_be_better() -> None:
    seen = PlacesSeen(0.01)
    seen.note_seen(12, 0, at(1.0))
    assert seen.best() is None


def test_the_description_says_where_and_how_far_off() -> None:
    seen = PlacesSeen(0.01)
    seen.note_seen(0, 0, at(0.95))
    seen.note_seen(-7, 0, at(1.004))
    assert "-7 counts" in seen.description()
    assert "0.40 ± 0.40 tolerances off" in seen.description()


def test_a_measured_place_is_not_forgotten_for_what_the_model_says_of_it() -> None:
    """A look while the trim moves is by the model, which may be wrong of this unit."""
    seen = PlacesSeen(0.01)
    seen.note_seen(0, 0, at(0.95))
    seen.note_measured(12, 0, at(1.003))
    seen.note_seen(12, 0, at(1.07))
    seen.note_seen(20, 0, at(1.0))
    seen.forget_what_models_say()
    assert "was measured nearest the target, 0.30 ± 0.40 tolerances off" in seen.description()
    seen.note_measured(12, 0, at(1.07))
    assert seen.best() is None


def test_no_place_but_the_start_is_kept_where_presses_are_doubted() -> None:
    seen = PlacesSeen(0.01)
    seen.note_seen(0, 0, at(0.95))
    seen.note_measured(12, 0, at(1.003))
    seen.forget_all_but_start()
    assert seen.best() is None


@pytest.mark.parametrize(
    ("measured", "start_is_measured", "left_at"),
    [
        (at(1.003, 0.003), False, 12),
        (at(1.003, 0.003), True, None),  # the start is as sure
        (at(1.006, 0.003), False, None),  # perhaps out of tolerance
    ],
)
def test_a_place_measured_in_tolerance_is_not_left_for_a_look_at_the_start(
    measured: Mixture, start_is_measured: bool, left_at: int | None
) -> None:
    """A look at a slow rise may be off by many of its standard deviations."""
    seen = PlacesSeen(0.01)
    seen.note_seen(0, 0, at(0.993, 0.003))
    if start_is_measured:
        seen.note_measured(0, 0, at(0.993, 0.003))
    seen.note_measured(12, 0, measured)
    best = seen.best()
    assert (None if best is None else best.counts) == left_at


@pytest.mark.parametrize(
    ("warm", "told"),
    [
        (at(1.01, 0.02), "was measured nearest the target, 0.23 ± 0.78 tolerances off"),
        (at(1.06, 0.02), None),  # contradicts what was expected
    ],
)
def test_a_measurement_of_a_warm_unit_is_taken_together_with_what_was_known(
    warm: Mixture, told: str | None
) -> None:
    """The mean weighted by the inverse variances: (2 / 16 + 10 / 400) / (1 / 16 + 1 / 400)."""
    seen = PlacesSeen(0.01)
    seen.note_seen(0, 0, at(0.96, 0.004))
    seen.expect(12, 0, at(1.002, 0.004))
    seen.note_measured(12, 0, warm)
    assert seen.best() is None if told is None else told in seen.description()


def test_a_vague_look_that_contradicts_what_was_seen_before_takes_its_place() -> None:
    """Notices a place that is believed near the target though its last activation says other."""
    seen = PlacesSeen(0.01)
    seen.note_seen(0, 0, at(0.98, 0.001))
    seen.note_seen(12, 0, at(1.002, 0.0005))
    assert seen.best() is not None
    seen.note_seen(12, 0, at(1.003, 0.01))  # vague, and may well be the same
    assert seen.best() is not None
    seen.note_seen(12, 0, at(1.026, 0.005))
    assert seen.best() is None
