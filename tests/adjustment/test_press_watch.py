"""What readings say of presses: made by the step response, in closed form, with noise of a seed."""

from __future__ import annotations

import numpy as np
import pytest

from ohmwright.adjustment.actions import Press
from ohmwright.adjustment.activation_log import ActivationLog
from ohmwright.adjustment.point import Keys, PointSpec
from ohmwright.adjustment.policy import AdjustPolicy
from ohmwright.adjustment.press_hypotheses import (
    AS_BELIEVED,
    OTHER_SIGN,
    SLIPS,
    Suspect,
    suspects_after,
    suspects_of,
    suspects_of_direction,
    what_may_be_done,
)
from ohmwright.adjustment.press_reports import PressReports
from ohmwright.adjustment.press_seen import PressesSeen, SeenPress
from ohmwright.adjustment.press_watch import PressWatch
from ohmwright.adjustment.press_weighing import PressRequest
from ohmwright.estimation.activation_record import Question
from ohmwright.estimation.coefficients import TRIM, Coefficient, output_at, window_mean_response
from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.prior import NoisePrior, vague_prior
from ohmwright.estimation.transient_estimate import fit_transient

KEYS = Keys()
QUESTION = Question(900.0, 14.0, 1.0, 1.0)
CUE_S, INTERVAL_S, LAG_S, DEAD_S = 7.0, 0.25, 0.9, 0.5
GAIN, LEVEL, NOISE = 0.003, 0.96, 0.002
TWO_UP = (Press("coarse", 2),)


def shown(at_s: list[float], counts: int, seed: int = 1) -> list[tuple[float, float]]:
    """Readings of 25 s, each step of `counts` at one of the ages `at_s`."""
    age_s = np.arange(0.6, 25.0, INTERVAL_S)

    def step(since_s):
        return window_mean_response(
            since_s, QUESTION.window_s, lag_s=LAG_S, dead_time_s=DEAD_S, pole_ratio=0.1
        )

    relative = LEVEL * step(age_s)
    for each in at_s:
        relative = relative + counts * GAIN * step(age_s - each)
    noise = np.random.default_rng(seed).normal(0, NOISE, age_s.size)
    readings = np.round(900.0 * relative * (1 + noise))
    return list(zip(age_s.tolist(), readings.tolist(), strict=True))


def watched(
    readings: list[tuple[float, float]],
    asked: tuple[Press, ...] = TWO_UP,
    *,
    gain_sd: float | None = 0.00015,
    suspects=(),
) -> tuple[PressesSeen | None, float]:
    """What is seen of presses asked for at CUE_S, and the age at which it is."""
    log = ActivationLog(QUESTION, output_at(0, 0)[TRIM], 0.0)
    prior = vague_prior()
    if gain_sd is not None:
        prior = prior.with_coefficient(Coefficient.GAIN, GAIN, gain_sd)
    prior = prior.narrowed_to_gain(GAIN, 0.3)  # a coarse press was seen before
    watch, fit = None, None
    for age_s, value in readings:
        log.note_reading(age_s, value)
        if watch is None and age_s >= CUE_S:
            fit = fit_transient(log.record(), prior, NoisePrior(), None)
            assert fit is not None
            watch = PressWatch(PressRequest(asked, KEYS, (0, 0), age_s, suspects), fit.as_prior())
        elif watch is not None and fit is not None:
            seen = watch.read(log.record(), fit.start, fit.autocorrelation)
            if seen is not None:
                return seen, age_s
    return None, readings[-1][0]


@pytest.mark.parametrize("reaction_s", [1.0, 2.5, 5.0])
def test_presses_as_asked_are_seen_when_they_were_made(reaction_s: float) -> None:
    first_s = CUE_S + reaction_s
    seen, at_s = watched(shown([first_s, first_s + 0.5], 10))
    assert seen is not None
    assert (seen.done, seen.told_apart) == ("as asked", True)
    assert [press for _, press in seen.presses] == [Press("coarse", 1)] * 2
    assert abs(seen.presses[0].age_s - first_s) < 0.5
    assert at_s < first_s + 0.5 + 4.0


@pytest.mark.parametrize(
    ("presses", "counts", "done"),
    [
        (1, 10, "fewer"),
        (3, 10, "more"),
        (2, -10, "other direction"),
        (0, 10, "none"),
    ],
)
def test_a_slip_is_told_from_what_was_asked(presses: int, counts: int, done: str) -> None:
    at_s = [CUE_S + 2.0 + 0.5 * n for n in range(presses)]
    seen, _ = watched(shown(at_s, counts))
    assert seen is not None
    assert seen.done == done
    assert len(seen.presses) == presses
    assert seen.as_asked < 0.5


def test_nothing_is_said_of_presses_before_they_can_have_shown() -> None:
    first_s = CUE_S + 4.0
    until = [each for each in shown([first_s, first_s + 0.5], 10) if each[0] < first_s + DEAD_S]
    assert watched(until)[0] is None


def test_a_press_too_many_is_waited_for_that_comes_late() -> None:
    seen, _ = watched(shown([CUE_S + 2.0, CUE_S + 2.5, CUE_S + 3.4], 10))
    assert seen is not None
    assert seen.done == "more"


def test_a_gain_that_is_not_known_tells_only_that_something_moved() -> None:
    """Three presses look like two of a larger gain."""
    at_s = [CUE_S + 2.0 + 0.5 * n for n in range(3)]
    seen, _ = watched(shown(at_s, 10), gain_sd=None)
    assert seen is not None
    assert (seen.done, seen.told_apart, len(seen.presses)) == ("as asked", False, 2)


def test_an_earlier_slip_shows_when_the_next_presses_do_half_of_what_was_learned() -> None:
    """The one press from which the gain was learned was a double one."""
    suspects = suspects_of((Press("coarse", 1),), KEYS)
    asked, at_s = (Press("coarse", 3),), [CUE_S + 2.0 + 0.5 * n for n in range(3)]
    seen, _ = watched(shown(at_s, 5), asked, suspects=suspects)
    assert seen is not None
    assert seen.suspect is not None
    assert (seen.done, seen.suspect.done, seen.suspect.counts) == ("as asked", "more", 10)


def test_what_was_corrected_is_believed_then_and_can_be_undone() -> None:
    suspects = suspects_of((Press("coarse", 1),), KEYS)
    for corrected in suspects:
        believed, *others = suspects_after(suspects, corrected)
        assert believed[:3] == AS_BELIEVED[:3]
        assert believed.probability == corrected.probability
        assert believed.done == corrected.done
        for other in others:  # as far as it would have been at once
            before = next(each for each in suspects if each.done == other.done)
            assert corrected.counts + other.counts == before.counts
            assert corrected.coarse + other.coarse == before.coarse
            assert corrected.gain_ratio * other.gain_ratio == pytest.approx(before.gain_ratio)


@pytest.mark.parametrize(("counts", "ratio"), [(-10, -1.0), (10, None)])
def test_the_other_direction_twice_is_a_gain_of_the_other_sign(
    counts: int, ratio: float | None
) -> None:
    """The presses before these seemed to go the other direction."""
    before = Suspect(-1.0, 0, 0, "as asked", OTHER_SIGN)
    suspects = suspects_of_direction((Press("coarse", -1),), (Press("coarse", 1),), KEYS, before)
    at_s = [CUE_S + 2.0, CUE_S + 2.5]
    seen, _ = watched(shown(at_s, counts), suspects=suspects)
    assert seen is not None
    assert seen.done == "as asked"
    if ratio is None:
        assert (seen.suspect, seen.suspects) == (None, ())
    else:
        assert seen.suspect is not None
        assert (seen.suspect.gain_ratio, seen.suspect.counts) == (ratio, -20)


def test_presses_bear_out_the_sign_of_the_gain_or_not() -> None:
    at_s = [CUE_S + 2.0, CUE_S + 2.5]
    for counts, borne_out in ((10, True), (-10, False)):
        seen, _ = watched(shown(at_s, counts))
        assert seen is not None
        assert (seen.other_sign < 0.01, seen.other_sign > 100) == (borne_out, not borne_out)


def test_a_gain_learned_from_a_doubled_press_is_halved_and_kept() -> None:
    """Else the next key is pressed once more to learn it, and a rise that goes on teaches that."""
    policy = AdjustPolicy(PointSpec(QUESTION, 30.0, 20.0, KEYS))
    policy.estimator.prior = vague_prior().with_coefficient(Coefficient.GAIN, GAIN, 0.0002)
    policy.pressed(0.0, "coarse", -1)
    reports, down = PressReports(policy, KEYS), Press("coarse", -1)
    for counts, output in ((0, 1.05), (-10, 1.001)):  # the latter as the gain foretold it
        known = Mixture(np.ones(1), np.array([output]), np.array([0.002]), np.inf)
        policy.findings.places.expect(counts, counts // 10, known)
    reports.activated((down,))
    suspect = Suspect(0.5, 10, 1, "more", 0.9)
    seen = PressesSeen(
        "as asked", (SeenPress(0.0, down),), 0.99, 0.0, True, False, 1.0, suspect, ()
    )
    reports.report(seen)
    prior = policy.estimator.prior
    assert prior.mean_of(Coefficient.GAIN) == pytest.approx(GAIN / 2)
    assert prior.sd_of(Coefficient.GAIN) == pytest.approx(0.0001)
    assert prior.sd_of(Coefficient.LEVEL) == 0.1, "the output foretold by the old gain is not kept"
    assert (policy.trim.counts, policy.trim.coarse) == (0, 0)
    assert policy.findings.places.best() is None, "the trim is left nowhere by that gain"


def test_an_output_that_other_presses_explain_makes_nothing_suspect_of_the_unit() -> None:
    policy = AdjustPolicy(PointSpec(QUESTION, 30.0, 20.0, KEYS))
    policy.estimator.prior = vague_prior().with_coefficient(Coefficient.LEVEL, 1.0, 0.002)
    habits, patience_s = policy.estimator.habits, policy.estimator.patience_s
    far_off = Mixture(np.ones(1), np.array([5.0]), np.array([0.2]), np.inf)
    policy.findings.learn(far_off, 5.0, refuted=True)
    assert policy.estimator.habits.hunting > 0.3
    assert policy.findings.surprises == 1
    policy.note_other_presses()
    assert (policy.estimator.habits, policy.estimator.patience_s) == (habits, patience_s)
    assert policy.findings.surprises == 0
    assert policy.estimator.prior.sd_of(Coefficient.LEVEL) == 0.1


@pytest.mark.parametrize(("probability", "times"), [(0.5, -1), (0.1, -3)])
def test_a_key_that_may_go_either_way_is_pressed_once(probability: float, times: int) -> None:
    reports = PressReports(AdjustPolicy(PointSpec(QUESTION, 30.0, 20.0, KEYS)), KEYS)
    reports._suspects = (
        Suspect(1.0, 0, 0, "as asked", 1 - probability),
        Suspect(-1.0, -40, -4, "other direction", probability),
    )
    assert reports.at_most(Press("coarse", -5)) == Press("coarse", times)


def test_what_may_be_done_is_everything_once() -> None:
    for asked in (TWO_UP, (Press("coarse", -3), Press("fine", 4)), (Press("fine", 1),)):
        cases = what_may_be_done(asked)
        known = sum(case.probability for case in cases if case.done != "fewer")
        assert known == pytest.approx(1 - SLIPS["fewer"])
        assert len({case.presses for case in cases}) == len(cases)
