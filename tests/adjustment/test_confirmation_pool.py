"""Confirmations at one place together: how sure, and that looking again is no second chance."""

import numpy as np
import pytest

from ohmwright.adjustment.activation_log import ActivationLog
from ohmwright.adjustment.confirmation import Confirmation
from ohmwright.adjustment.confirmation_pool import pooled
from ohmwright.adjustment.parameters import Parameters
from ohmwright.adjustment.trim import Trim
from ohmwright.estimation.activation_record import Question
from ohmwright.estimation.coefficients import Coefficient
from ohmwright.estimation.habits import Habits
from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.prior import vague_prior
from ohmwright.estimation.thermal_droop import ResidualWarmth
from tests.estimation.activations import Made

TARGET, TOLERANCE = 500.0, 6.0


def at(mean: float, sd: float = 0.2, dof: float = 30.0) -> Mixture:
    return Mixture(np.ones(1), np.array([mean]), np.array([sd]), dof)


def test_two_that_agree_are_surer_than_one_but_keep_what_they_have_in_common() -> None:
    both = pooled([at(0.5), at(0.5)])
    assert both.mean == pytest.approx(0.5)
    # by hand: half of 0.2 in common, the rest halved in square: sqrt(0.01 + 0.03 / 2)
    assert both.sd == pytest.approx(np.sqrt(0.01 + 0.015))
    assert pooled([at(0.5)] * 100).sd > 0.1


def test_the_surer_one_counts_more_and_the_fewest_degrees_of_freedom_hold() -> None:
    both = pooled([at(0.0, 0.1, 12.0), at(1.0, 0.4)])
    assert 0.0 < both.mean < 0.1
    assert both.dof == 12.0


def test_those_that_contradict_each_other_make_the_value_less_sure() -> None:
    assert pooled([at(-1.0), at(1.0)]).sd > 3 * pooled([at(0.0), at(0.0)]).sd


SEEN_STILL, SEEN_TO_HUNT = Habits(0.12), Habits(0.9, swing=0.02)


@pytest.mark.parametrize(
    ("off", "earlier", "habits", "expected"),
    [
        (0.0, (), SEEN_STILL, "accept"),
        (0.0, (at(0.1), at(-0.1)), SEEN_STILL, "accept"),
        (0.0, (at(0.95, 0.02), at(0.97, 0.02)), SEEN_STILL, "release"),  # they speak against it
        (20.0, (at(0.0, 0.02), at(0.0, 0.02)), SEEN_STILL, "refuted"),  # by itself it says no
        (0.0, (), SEEN_TO_HUNT, "release"),  # it may stand still off its mean, this once
        (0.0, (at(0.1), at(-0.1)), SEEN_TO_HUNT, "accept"),
    ],
)
def test_what_earlier_confirmations_do_to_the_present_one(
    off: float, earlier: tuple[Mixture, ...], habits: Habits, expected: str
) -> None:
    made = Made(level=TARGET + 2.6 + off, noise=0.0015)
    question = Question(TARGET, TOLERANCE, made.window_s, 1.0)
    confirmation = Confirmation(
        question,
        Parameters(),
        residual_warmth=ResidualWarmth(),
        habits=habits,
        earlier=earlier,
    )
    confirmation.rule_out_moves(0.0)
    log, outcome = ActivationLog(question, Trim(None).position(), 0.0), "continue"
    for age_s, value in zip(*made.readings(14.0), strict=True):
        log.note_reading(float(age_s), float(value))
        outcome = confirmation.outcome(log, vague_prior(), float(age_s), late=age_s > 13.0)
        if outcome != "continue":
            break
    assert outcome == expected


@pytest.mark.parametrize(("gain", "ends"), [(0.002, True), (0.0, False), (0.02, False)])
def test_a_value_that_stays_unsure_is_watched_no_longer_where_it_would_pass_nearer(
    gain: float, ends: bool
) -> None:
    """Half a tolerance off, and as unsure for ever; with `gain` per count, relative.

    Without a known gain, or where one count is more than the tolerance, nothing is nearer.
    """
    made = Made(level=TARGET + 6.4, noise=0.0005)
    question = Question(TARGET, TOLERANCE, made.window_s, 1.0)
    warm = ResidualWarmth(uncertainty=0.0025)
    confirmation = Confirmation(question, Parameters(), residual_warmth=warm, habits=SEEN_STILL)
    confirmation.rule_out_moves(0.0)
    prior = vague_prior().with_coefficient(Coefficient.GAIN, gain, 0.1 * gain + 1e-9)
    log, ended_s = ActivationLog(question, Trim(None).position(), 0.0), 0.0
    for age_s, value in zip(*made.readings(30.0), strict=True):
        log.note_reading(float(age_s), float(value))
        if confirmation.outcome(log, prior, float(age_s), late=False) != "continue":
            ended_s = float(age_s)
            break
    assert (0 < ended_s < 25) == ends
    assert confirmation.would_pass_centred(prior) == ends
