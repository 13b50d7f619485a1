"""The cause that a result names, and what would help."""

from dataclasses import replace

import pytest

from ohmwright.adjustment.cause import why_undecided
from ohmwright.adjustment.evidence import Evidence

SOUND = Evidence(
    tolerance=5.0,
    digit=1.0,
    rest_s=30.0,
    rf_on_s=110.0,
    value_tolerances=0.9,
    uncertainty_tolerances=0.1,
)


@pytest.mark.parametrize(
    ("changes", "cause", "help_"),
    [
        ({}, "0.90 tolerances off the target", "smaller counts"),
        ({"digit": 4.0}, "digit of 4", "one of 1"),
        ({"uncertainty_tolerances": 0.5, "noise_tolerances": 1.2}, "scatter by 1.2", "less noise"),
        ({"left_over_tolerances": 0.6}, "with rests of up to 30 s", "longer rest"),
        ({"left_over_tolerances": 3.0, "digit": 2.0}, "worth 3.0 tolerances", "longer rest"),
        ({"left_over_tolerances": 0.3, "digit": 2.0}, "digit of 2", "one of 1"),
        ({"play_counts": 8.0, "play_tolerances": 2.0}, "short by about 8 counts", "see whether"),
        ({"time_outs": 3, "times_out_s": 9.0}, "ended by itself 3 times", "longer time-out"),
        ({"hunting": 0.9, "swing_tolerances": 0.6}, "hunts", "mains and the meter"),
        ({"hunting": 0.9, "swing_tolerances": 0.1}, "0.90 tolerances off", "smaller counts"),
        (
            {"uncertainty_tolerances": 0.4, "settles_s": 16.0, "at_age_s": 6.0},
            "comes to rest after about 16 s, later than the age of 6 s",
            "a later age_s",
        ),
        ({"bends": 2, "surprises": 3, "at_age_s": 6.0}, "sank after the age of 6 s", "rest"),
        ({"surprises": 3}, "model: 3 times it was not", "trim sound"),
        ({"surprises": 1, "uncertainty_tolerances": 0.4}, "once it was not", "trim sound"),
        ({"value_tolerances": -3.0}, "3.00 tolerances off the target: moves", "trim is sound"),
        ({"value_tolerances": None, "uncertainty_tolerances": 0.1}, "never brought", ""),
    ],
)
def test_the_cause_and_what_would_help(changes, cause, help_) -> None:
    said = why_undecided(replace(SOUND, **changes))
    assert said.startswith("not confirmed within 110 s of RF: ")
    assert cause in said
    assert help_ in said


@pytest.mark.parametrize("cause", [{"play_counts": 8.0, "play_tolerances": 2.0}, {"surprises": 2}])
def test_where_a_person_presses_keys_the_unit_alone_is_not_suspected(cause) -> None:
    """One press too many looks like a trim that has play."""
    by_port, by_keys = (
        why_undecided(replace(SOUND, by_keys=keys, **cause)) for keys in (False, True)
    )
    assert "or where keys were pressed otherwise than asked for; see whether" in by_keys
    assert "keys" not in by_port
