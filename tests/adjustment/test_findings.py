"""What a confirmation teaches that does not show what was foretold of it."""

from functools import partial
from math import hypot
from types import SimpleNamespace

import numpy as np
import pytest

from ohmwright.adjustment.activation_log import ActivationLog
from ohmwright.adjustment.point import PointSpec
from ohmwright.adjustment.policy import AdjustPolicy
from ohmwright.estimation.activation_record import Question
from ohmwright.estimation.coefficients import Coefficient
from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.thermal_droop import ResidualWarmth

TOLERANCE = 0.012
"""Relative to the target."""


def policy_that_foretells_the_target(sd_tolerances: float, at_age_s: float = 10.0) -> AdjustPolicy:
    """A policy whose latest activation, read until `at_age_s`, foretells the target."""
    question = Question(500.0, 500.0 * TOLERANCE, 0.5, 1.0)
    policy = AdjustPolicy(PointSpec(question, timeout_s=60.0, rest_s=30.0))
    foretold = policy.estimator.prior.with_coefficient(
        Coefficient.LEVEL, 1.0, sd_tolerances * TOLERANCE
    )
    policy.estimator.prior = foretold
    latest = ActivationLog(question, policy.trim.position(), 0.0)
    latest.note_reading(at_age_s, 500.0)
    policy.findings.note_places(latest, None)
    return policy


@pytest.mark.parametrize(("seen", "hunting"), [(-4.0, 0.85), (-1.0, 0.0)])
def test_an_output_far_from_where_it_was_foretold_may_have_swung_to_there(
    seen: float, hunting: float
) -> None:
    """Foretold 0 ± 0.4 and seen with ± 0.3: 4 tolerances are 8 deviations, 1 is 2."""
    policy = policy_that_foretells_the_target(0.4)
    confirmed = Mixture(np.ones(1), np.array([seen]), np.array([0.3]), 30.0)
    policy.findings.learn(confirmed, 5.0, refuted=True)
    habits = policy.estimator.habits
    assert habits.hunting == hunting
    assert habits.swing == pytest.approx(2 * TOLERANCE if hunting else 0.0)


@pytest.mark.parametrize(
    ("seen", "age_s", "rises_otherwise"),
    [
        (-4.0, 1.4, True),
        (4.0, 1.4, True),  # it has overshot
        (-4.0, 9.0, False),  # as late as it was foretold: it has gone elsewhere
        (-1.0, 1.4, False),  # as foretold
    ],
)
def test_an_output_seen_far_off_much_sooner_than_foretold_may_still_rise(
    seen: float, age_s: float, rises_otherwise: bool
) -> None:
    policy = policy_that_foretells_the_target(0.4, at_age_s=10.0)
    confirmed = Mixture(np.ones(1), np.array([seen]), np.array([0.3]), 30.0)
    policy.findings.learn(confirmed, age_s, refuted=True)
    assert policy.estimator.habits.rises_otherwise is rises_otherwise


@pytest.mark.parametrize(("warmth", "known"), [(0.0, True), (0.03, False)])
def test_a_warm_unit_shows_less_of_which_place_is_nearest(warmth: float, known: bool) -> None:
    """What its warmth leaves unsure is common to all places: it may make another one the nearest.

    Notices a trim that is left, and stored, where a unit still warm was on target.
    """
    question = Question(500.0, 500.0 * TOLERANCE, 0.5, 1.0)
    policy = AdjustPolicy(PointSpec(question, timeout_s=60.0, rest_s=30.0))
    findings, prior = policy.findings, policy.estimator.prior
    findings.places.note_seen(0, 0, Mixture(np.ones(1), np.array([0.98]), np.array([0.001]), 30.0))
    policy.estimator.prior = prior.with_coefficient(Coefficient.LEVEL, 1.0, 0.001)
    policy.moved(0.0, 10)
    findings.warmth_uncertainty = warmth
    findings.note_predicted()
    assert (findings.places.best() is not None) is known


def test_what_warmth_leaves_unsure_is_in_what_is_seen_of_each_place(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Of where an activation began, too, and of where the trim stands at its end."""

    def shown(level: float, unseen: float) -> Mixture:
        return Mixture(np.ones(1), np.array([level]), np.array([hypot(0.001, unseen)]), 30.0)

    question = Question(500.0, 500.0 * TOLERANCE, 0.5, 1.0)
    policy = AdjustPolicy(PointSpec(question, timeout_s=60.0, rest_s=30.0))
    policy.activated(ResidualWarmth(0.1, 0.03))
    policy.moved(0.0, 10)
    fit = SimpleNamespace(
        extrapolation=0.001, level=partial(shown, 0.98), combination=lambda _: shown(1.0, 0.0)
    )
    monkeypatch.setattr(policy.estimator, "fit_with_departures", lambda: fit)
    monkeypatch.setattr(policy.estimator, "visible_after_s", lambda *_: 0.0)
    policy.log.note_reading(10.0, 500.0)
    policy.findings.note_places(policy.log, None)
    places = policy.findings.places._places
    assert {*places} == {(0, 0), (10, 0)}
    assert all(place.sd >= 0.03 for place in places.values())
