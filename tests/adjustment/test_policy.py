"""The policy on a small made-up plant of its own; the bench measures it on a population."""

from dataclasses import dataclass, field, replace

import numpy as np
import pytest

from ohmwright.adjustment.actions import Activate, Finish, Move, Press, Release, TakeReading
from ohmwright.adjustment.activation_log import ActivationLog
from ohmwright.adjustment.confirmation import Confirmation
from ohmwright.adjustment.decision import (
    NO_EFFECT,
    TOO_FEW,
    WITHOUT_EFFECT,
    AdjustmentDecider,
    AdjustmentDecision,
    moved_without_effect,
)
from ohmwright.adjustment.findings import Findings
from ohmwright.adjustment.fleet_prior import FleetPrior, Learned, learn
from ohmwright.adjustment.parameters import Parameters
from ohmwright.adjustment.plain_look import PlainLook, Stay
from ohmwright.adjustment.point import Expected, Keys, PointSpec
from ohmwright.adjustment.policy import AdjustPolicy
from ohmwright.adjustment.runaway_check import RunawayCheck
from ohmwright.adjustment.trim import Trim
from ohmwright.adjustment.unit_estimator import UnitEstimator
from ohmwright.estimation.activation_record import Question
from ohmwright.estimation.coefficients import Coefficient
from ohmwright.estimation.habits import Habits
from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.prior import vague_prior
from ohmwright.estimation.sequential_test import ActivationTest
from ohmwright.estimation.thermal_droop import ResidualWarmth
from tests.estimation.activations import Made, step_response

TARGET, TOLERANCE = 500.0, 6.0


@dataclass
class Bench:
    """One unit: readings of the present activation, the trim, and what was done."""

    made: Made
    gain: float
    coarse: int = 10
    timeout_s: float = 40.0
    counts: int = 0
    on: bool = False
    on_s: float = 0.0
    seed: int = 0
    largest: int = 0
    moves_with_rf_off: int = 0
    moves_with_rf_on: int = 0
    pressed: int = 0
    looks_s: list[float] = field(default_factory=list)
    """How long each activation lasted."""
    _taken: int = field(default=0)

    def activate(self):
        assert not self.on
        self.seed += 1
        self.on, self._taken = True, 0
        made = replace(self.made, level=self.made.level + self.gain * self.counts)
        self.age_s, self.value = made.readings(self.timeout_s, self.seed)

    def read(self):
        assert self.on
        at = self._taken
        self._taken += 1
        return float(self.age_s[at]), float(np.round(self.value[at]))

    def move(self, counts, age_s):
        self.counts += counts
        self.largest = max(self.largest, abs(self.counts))
        if not self.on:
            self.moves_with_rf_off += 1
            return
        self.moves_with_rf_on += 1
        self.value = self.value + counts * self.gain * step_response(self.made, self.age_s - age_s)


def run(bench, keys=None, prior=None, left=None, **more):
    """`left`: warmth that the first activation begins with."""
    question = Question(TARGET, TOLERANCE, bench.made.window_s, 1.0)
    spec = PointSpec(question, 40.0, 30.0, keys, **more)
    policy = AdjustPolicy(spec, prior)
    age_s = 0.0
    for _ in range(4000):
        action = policy.next_action()
        if isinstance(action, Activate):
            bench.activate()
            policy.activated(left)
            age_s, left = 0.0, None
        elif isinstance(action, TakeReading):
            age_s, value = bench.read()
            policy.read(age_s, value)
        elif isinstance(action, Move):
            bench.move(action.counts, age_s)
            policy.moved(age_s, action.counts)
        elif isinstance(action, Press):
            step = 1 if action.times > 0 else -1
            for _ in range(abs(action.times)):
                bench.pressed += 1
                size = bench.coarse if action.key == "coarse" else 1
                bench.move(step * size, age_s)
                policy.pressed(age_s, action.key, step)
        elif isinstance(action, Release):
            if bench.on:
                bench.on = False
                bench.on_s += age_s
                bench.looks_s.append(age_s)
                policy.released(age_s)
            policy.rested(action.rest_s)
        elif isinstance(action, Finish):
            assert not bench.on
            return action, policy
    raise AssertionError("no end")


@pytest.mark.parametrize("gain", [0.6, -1.8, 5.0])
@pytest.mark.parametrize("off", [-35.0, 28.0])
def test_lands_in_tolerance_and_confirms(gain, off):
    bench = Bench(Made(level=TARGET + off, noise=0.0015), gain)
    end, _ = run(bench)
    assert end.ended == "confirmed"
    assert abs(bench.made.at(6.0) + gain * bench.counts - TARGET) <= TOLERANCE
    assert abs(end.value - TARGET) + 2 * end.uncertainty < TOLERANCE


def test_coached_keys_of_unknown_size():
    for coarse in (8, 12):
        bench = Bench(Made(level=TARGET - 30, noise=0.0015), 1.2, coarse=coarse)
        end, _ = run(bench, Keys())
        assert end.ended == "confirmed"
        assert abs(bench.made.at(6.0) + 1.2 * bench.counts - TARGET) <= TOLERANCE
        assert bench.pressed <= 14


@pytest.mark.parametrize("keys", [None, Keys()])
def test_dead_trim_is_given_up_and_put_back(keys):
    bench = Bench(Made(level=TARGET + 25), 0.0)
    end, _ = run(bench, keys)
    assert end.ended == "not adjustable"
    assert "no effect" in end.reason
    assert end.left.startswith("" if keys else "it was moved by ")
    assert bench.counts == 0
    assert bench.largest > 0
    assert (len(bench.looks_s), bench.on_s < 30) == (1, True)


@pytest.mark.parametrize(
    ("moves", "said"),
    [
        ((), ""),
        ((4, 16, -30), "it was moved by -10 to +20 counts"),
        ((4, 16, -20), "it was moved by up to +20 counts, to one side alone"),
        ((-5, 2), "it was moved by up to -5 counts, to one side alone"),
    ],
)
def test_of_a_trim_without_effect_it_is_said_how_far_it_was_moved(moves, said):
    trim = Trim(None)
    for counts in moves:
        trim.note_moved(counts)
    assert moved_without_effect(trim).startswith(said)
    assert bool(moved_without_effect(trim)) == bool(said)


def test_an_output_in_tolerance_is_confirmed_though_no_effect_of_the_trim_is_found():
    """As of a unit whose output another limit holds, whatever the trim says."""
    bench = Bench(Made(level=TARGET - 0.75 * TOLERANCE, droop=0.0), 0.0)
    end, _ = run(bench)
    assert (end.ended, end.reason) == ("confirmed", WITHOUT_EFFECT)
    assert end.value == pytest.approx(TARGET - 0.75 * TOLERANCE, abs=0.2 * TOLERANCE)
    assert bench.counts == 0
    assert bench.largest > 0
    assert bench.on_s < 60


@pytest.mark.parametrize(
    ("off", "ended", "looks"), [(0.9, "undecided", 2), (1.2, "not adjustable", 1)]
)
def test_without_effect_of_the_trim_an_output_is_watched_once_more_only_within_its_limits(
    off, ended, looks
):
    bench = Bench(Made(level=TARGET - off * TOLERANCE, droop=0.0), 0.0)
    end, _ = run(bench)
    assert (end.ended, end.reason) == (ended, NO_EFFECT)
    assert (bench.counts, len(bench.looks_s)) == (0, looks)


@pytest.mark.parametrize("off", [-15.0, 28.0])
def test_a_start_that_was_refuted_says_nothing_of_the_output_that_was_landed(monkeypatch, off):
    """Notices "no effect of the trim was found" of a trim that landed it."""
    decide, first = AdjustmentDecider.decide, iter([AdjustmentDecision("confirm the start")])
    monkeypatch.setattr(
        AdjustmentDecider,
        "decide",
        lambda self, *seen, **more: next(first, None) or decide(self, *seen, **more),
    )
    bench = Bench(Made(level=TARGET + off, noise=0.0015), 0.6)
    end, _ = run(bench)
    assert (end.ended, end.reason) == ("confirmed", "")
    assert bench.counts == pytest.approx(-off / 0.6, abs=8)


TWO_SEEN = Stay(0, 0.94, 0.01, True, 1.0, 5.0), Stay(20, 1.06, 0.01, True, 1.0, 9.0)


def test_a_trim_that_the_readings_show_at_work_is_never_said_to_have_no_effect(monkeypatch):
    monkeypatch.setattr(PlainLook, "two_that_differ", lambda _: TWO_SEEN)
    bench = Bench(Made(level=TARGET + 25), 0.0)
    end, _ = run(bench)
    assert end.ended == "undecided"
    assert end.reason.startswith("the output does not behave as any model here: no effect of the t")
    assert "it read 470 at +0 counts and 530 at +20 counts from the start" in end.reason
    assert (bench.counts, end.back_at_start) == (0, True)


def test_what_two_places_differ_by_is_once_taken_for_the_gain_and_the_trim_probed_anew(monkeypatch):
    """Half of it, or the other sign, would be corrected later, and only cost time with RF on."""
    believed = []
    believe_slope = UnitEstimator.believe_slope

    def noted(estimator, gain):
        believe_slope(estimator, gain)
        prior, sizer = estimator.prior, estimator._sizer
        believed.append((prior.mean_of(Coefficient.GAIN), prior.sd_of(Coefficient.GAIN)))
        assert (sizer.probes, estimator.has_fleet_gain) == (0, False)

    monkeypatch.setattr(PlainLook, "two_that_differ", lambda _: TWO_SEEN)
    monkeypatch.setattr(UnitEstimator, "believe_slope", noted)
    run(Bench(Made(level=TARGET + 25), 0.0))
    assert believed == [pytest.approx((0.006, 0.0018))]


@pytest.mark.parametrize(("keys", "left_at"), [(None, 3), (Keys(), 0)])
def test_where_no_model_holds_the_trim_is_left_at_a_place_that_was_measured(
    monkeypatch, keys, left_at
):
    """With keys presses may have failed, so that the place is not known."""

    def note_start_and_another(self, *_):
        for note, counts, off in (
            (self.places.note_seen, 0, 0.1),
            (self.places.note_measured, 3, 0.01),
            (self.places.note_seen, 5, 0.001),
        ):
            note(counts, 0, Mixture(np.ones(1), np.array([1 - off]), np.full(1, 1e-3), 9))

    monkeypatch.setattr(PlainLook, "two_that_differ", lambda _: TWO_SEEN)
    monkeypatch.setattr(Findings, "note_places", note_start_and_another)
    bench = Bench(Made(level=TARGET + 25), 0.0)
    end, _ = run(bench, keys)
    assert end.ended == "undecided"
    assert (bench.counts, end.back_at_start) == (left_at, left_at == 0)


def test_a_range_does_not_end_before_a_target_that_two_places_have_between_them(monkeypatch):
    monkeypatch.setattr(PlainLook, "two_about_target", lambda _: TWO_SEEN)
    bench = Bench(Made(level=TARGET - 30, noise=0.0015), 1.5)
    end, _ = run(bench, range=(-5, 5))
    assert end.ended == "undecided"
    assert "the target seemed out of the trim's range, though it read 470" in end.reason
    assert (bench.counts, end.back_at_start) == (0, True)


def test_excursion_stays_bounded_when_a_count_does_far_more_than_expected():
    bench = Bench(Made(level=TARGET + 30), 15.0)
    run(bench)
    assert 15.0 * bench.largest + 30 < 0.4 * TARGET


def test_no_output_is_given_up_before_the_time_out():
    bench = Bench(Made(level=0.0), 1.0)
    end, _ = run(bench)
    assert end.ended == "not adjustable"
    assert end.reason == "no output"
    assert bench.on_s < 40


def test_too_few_readings_of_an_output_are_no_output_that_is_missing():
    """As where a person types slowly: it ended as a unit without output, which fails."""
    policy = AdjustPolicy(PointSpec(Question(TARGET, TOLERANCE, 0.5, 1.0), 15.0, 30.0))
    policy.next_action()
    policy.activated()
    for age_s in (5.0, 10.0, 14.9):
        policy.read(age_s, TARGET)
    assert policy.next_action() == Release(0.0)
    policy.released(15.0)
    end = policy.next_action()
    assert isinstance(end, Finish)
    assert (end.ended, end.reason) == ("undecided", TOO_FEW)


def test_a_foot_switch_that_was_let_go_is_no_service_mode_that_timed_out():
    policy = AdjustPolicy(PointSpec(Question(TARGET, TOLERANCE, 0.5, 1.0), 40.0, 30.0))
    policy.next_action()
    policy.activated()
    policy.read(2.0, TARGET)
    policy.released(3.0, let_go=True)
    assert policy.next_action() == Release(30.0)
    policy.rested(30.0)
    policy.next_action()
    policy.activated()
    policy.read(5.0, TARGET - 60)
    assert policy.next_action() == TakeReading()


def test_a_service_mode_that_times_out_early_is_resumed_after_a_rest():
    spec = PointSpec(Question(TARGET, TOLERANCE, 0.5, 1.0), 40.0, 30.0)
    policy = AdjustPolicy(spec)
    assert policy.next_action() == Activate()
    policy.activated()
    for age_s, value in zip(*Made(level=TARGET - 30).readings(2.0), strict=True):
        policy.next_action()
        policy.read(float(age_s), float(value))
    policy.released(2.0)
    assert policy.next_action() == Release(30.0)
    policy.rested(30.0)
    assert policy.next_action() == Activate()


def test_a_service_mode_that_timed_out_is_left_in_time_the_next_time():
    policy = AdjustPolicy(PointSpec(Question(TARGET, TOLERANCE, 0.5, 1.0), 40.0, 30.0))
    dead_trim = Made(level=TARGET - 60)  # never decided: nothing that is moved here acts
    left_s = []
    for until_s in (4.0, 40.0):
        action = policy.next_action()
        while not isinstance(action, Activate):
            if isinstance(action, Move):
                policy.moved(0.0, 0)
            action = policy.next_action()
        policy.activated()
        for age_s, value in zip(*dead_trim.readings(until_s), strict=True):
            policy.read(float(age_s), float(value))
            action = policy.next_action()
            if isinstance(action, Release):
                break
        left_s.append(float(age_s))
        timed_out = not isinstance(action, Release)
        policy.released(left_s[-1] + 2.0 * timed_out, timed_out=timed_out)  # seen so late
    assert left_s[1] < left_s[0] - 0.5


@pytest.mark.parametrize(("interval_s", "window_s"), [(0.1, 0.5), (0.5, 2.0), (1.0, 2.0)])
def test_an_activation_is_left_a_reading_and_the_window_before_its_time_out(interval_s, window_s):
    policy = AdjustPolicy(PointSpec(Question(TARGET, TOLERANCE, window_s, 1.0), 12.0, 30.0))
    policy.next_action()
    policy.activated()
    dead_trim = Made(level=TARGET - 60, window_s=window_s, rate_hz=1 / interval_s)
    for age_s, value in zip(*dead_trim.readings(12.0), strict=True):
        policy.read(float(age_s), float(value))
        while isinstance(action := policy.next_action(), Move):
            policy.moved(float(age_s), 0)
        if isinstance(action, Release):
            break
    margin_s = policy.parameters.giving_up.timeout_margin_s + window_s + interval_s
    assert 12.0 - margin_s < age_s <= 12.0 - margin_s + max(interval_s, 0.4)


def test_an_output_that_runs_away_twice_is_given_up_at_its_start(monkeypatch):
    def away_after_any_move(self, *_):
        away = bench.counts != 0
        self.runaways += away
        return away

    monkeypatch.setattr(RunawayCheck, "is_runaway", away_after_any_move)
    bench = Bench(Made(level=TARGET + 30), 1.5)
    end, policy = run(bench)
    assert bench.moves_with_rf_on == 3  # out, back, out again; then back with RF off
    assert (end.ended, end.reason) == ("not adjustable", "the output does not follow the trim")
    assert bench.counts == policy.trim.counts == 0


@pytest.mark.parametrize("keys", [None, Keys()])
def test_places_noted_of_presses_that_ran_away_are_not_believed(monkeypatch, keys):
    """A trim that is moved by port stands where it was sent, whatever the output did."""

    def away_after_any_move(self, *_):
        away = bench.counts != 0
        self.runaways += away
        return away

    def note_one_far_off_and_one_near(self, *_):
        for counts, off in ((0, 0.1), (3, 0.001)):
            self.places.note_seen(
                counts, 0, Mixture(np.ones(1), np.array([1 - off]), np.full(1, 1e-3), 9)
            )

    monkeypatch.setattr(RunawayCheck, "is_runaway", away_after_any_move)
    monkeypatch.setattr(Findings, "note_places", note_one_far_off_and_one_near)
    bench = Bench(Made(level=TARGET + 30), 1.5)
    end, _ = run(bench, keys)
    assert end.reason == "the output does not follow the trim"
    assert end.back_at_start == (keys is not None)


def fleet(gain):
    prior = FleetPrior()
    for factor in (0.9, 1.0, 1.1, 1.05, 0.95):
        prior = learn(prior, Learned(gain * factor / TARGET, 0.8, 0.5))
    return prior


def test_a_fleet_prior_saves_the_probe():
    plain, known = (Bench(Made(level=TARGET - 30, noise=0.0015), 1.5) for _ in range(2))
    run(plain)
    end, policy = run(known, prior=fleet(1.5))
    assert end.ended == "confirmed"
    assert known.on_s < plain.on_s
    assert policy.learned().gain * TARGET == pytest.approx(1.5, rel=0.3)


@pytest.mark.parametrize(
    ("left", "activations", "most_on_s"), [(None, 1, 12), (ResidualWarmth(0.5, 0.05), 2, 17)]
)
def test_what_needs_no_move_is_confirmed_in_the_same_activation_unless_it_was_warm(
    left, activations, most_on_s
):
    bench = Bench(Made(level=TARGET + 3, noise=0.0015), 1.5)
    end, _ = run(bench, prior=fleet(1.5), left=left)
    assert (end.ended, bench.counts, bench.seed) == ("confirmed", 0, activations)
    assert bench.on_s < most_on_s  # a warm one is left at once, not looked at in vain


def test_a_stated_droop_is_expected_of_the_unit_from_the_first_activation_on():
    spec = PointSpec(Question(TARGET, TOLERANCE, 0.5, 1.0), 40.0, 30.0, largest_droop=0.05)
    estimator = AdjustPolicy(spec).estimator
    assert estimator.prior.mean_of(Coefficient.DROOP) == pytest.approx(0.025)
    estimator.forget_all_but_gain()
    assert estimator.prior.mean_of(Coefficient.DROOP) == pytest.approx(0.025)


def test_an_opposite_prior_still_ends_in_tolerance():
    bench = Bench(Made(level=TARGET - 30, noise=0.0015), 1.5)
    end, _ = run(bench, prior=fleet(-4.0))
    assert end.ended != "confirmed" or abs(bench.made.at(6.0) + 1.5 * bench.counts - TARGET) <= 6
    assert 1.5 * bench.largest + 30 < 0.3 * TARGET


def test_fleet_prior_forgets_when_it_disappoints():
    prior = fleet(1.5)
    after = learn(prior, Learned(-6.0 / TARGET, 0.8, 0.5))
    assert after.gain.sd() > prior.gain.sd()
    assert after.sign() == 0
    assert FleetPrior().transient_prior().mean_of(Coefficient.GAIN) == 0


def test_a_true_prior_is_not_overruled_by_noise_before_a_move_was_seen():
    for seed in range(8):
        bench = Bench(Made(level=TARGET - 30, noise=0.003), 1.5, seed=10 * seed)
        _, policy = run(bench, prior=fleet(1.5))
        assert policy.estimator.has_fleet_gain


@pytest.mark.parametrize("factor", [-0.33, -1.0, -3.0, 3.0, 0.33])
@pytest.mark.parametrize("off", [-38.0, 36.0])
def test_a_wrong_prior_costs_time_and_never_the_excursion(factor, off):
    bench = Bench(Made(level=TARGET + off, noise=0.0015), 1.5)
    end, _ = run(bench, prior=fleet(1.5 * factor))
    assert end.ended == "confirmed"
    assert abs(bench.made.at(6.0) + 1.5 * bench.counts - TARGET) <= TOLERANCE
    assert 1.5 * bench.largest + abs(off) < 0.3 * TARGET


@pytest.mark.parametrize("off", [-12.0, 10.0, 16.0])
def test_a_prior_by_which_no_count_would_do_is_not_believed(off):
    bench = Bench(Made(level=TARGET + off, noise=0.0015), 6.5)
    end, _ = run(bench, prior=fleet(-3 * 6.5))
    assert end.ended == "confirmed"
    assert bench.counts != 0
    assert abs(bench.made.at(6.0) + 6.5 * bench.counts - TARGET) <= TOLERANCE


@pytest.mark.parametrize("prior", [fleet(1.5), fleet(-0.5), fleet(6.0), None])
def test_a_confirmation_answers_on_its_own_readings_whatever_was_believed(prior):
    before = vague_prior() if prior is None else prior.transient_prior()
    for off, expected in ((2, "accept"), (-20, "refuted")):
        made = Made(level=TARGET + off, noise=0.0015)
        question = Question(TARGET, TOLERANCE, made.window_s, 1.0)
        confirmation = Confirmation(
            question, Parameters(), residual_warmth=ResidualWarmth(), habits=Habits(0.12)
        )
        confirmation.rule_out_moves(0.0)
        log = ActivationLog(question, Trim(None).position(), 0.0)
        outcome = "continue"
        for age_s, value in zip(*made.readings(30.0), strict=True):
            log.note_reading(float(age_s), float(value))
            if outcome == "continue":
                outcome = confirmation.outcome(log, before, float(age_s), late=False)
        assert outcome == expected


@pytest.mark.parametrize(("off", "expected", "by_s"), [(3.0, "move on", 25), (0.0, "release", 50)])
def test_what_hunting_alone_keeps_in_doubt_is_moved_where_that_helps(
    monkeypatch, off, expected, by_s
):
    def undecided(test: ActivationTest, *readings: object) -> str:
        test.estimate(*readings)
        return "undecided"

    monkeypatch.setattr(ActivationTest, "outcome", undecided)
    made = Made(level=TARGET + off, noise=0.0015, droop=0.0)
    question = Question(TARGET, TOLERANCE, made.window_s, 1.0)
    confirmation = Confirmation(
        question, Parameters(), residual_warmth=ResidualWarmth(), habits=Habits(0.5)
    )
    log, before = ActivationLog(question, Trim(None).position(), 0.0), fleet(1.5).transient_prior()
    for age_s, value in zip(*made.readings(60.0), strict=True):
        log.note_reading(float(age_s), float(value))
        outcome = confirmation.outcome(log, before, float(age_s), late=False)
        if outcome != "continue":
            break
    assert (outcome, bool(age_s < by_s)) == (expected, True)


@pytest.mark.parametrize(("far", "expected"), [(0.5, "accept"), (72.0, "continue")])
def test_nothing_is_accepted_whose_stated_uncertainty_would_leave_it_undecided(
    monkeypatch, far, expected
):
    """Three in a thousand that the output lies twelve tolerances off make U larger than one."""

    def surely_inside(test: ActivationTest, *readings: object) -> str:
        test.estimate(*readings)
        test.value = Mixture(
            np.array([0.997, 0.003]), TARGET + np.array([0.0, far]), np.array([0.5, 0.5]), 60.0
        )
        return "in tolerance"

    monkeypatch.setattr(ActivationTest, "outcome", surely_inside)
    made, outcomes = Made(level=TARGET, noise=0.0015), set()
    question = Question(TARGET, TOLERANCE, made.window_s, 1.0)
    confirmation = Confirmation(
        question, Parameters(), residual_warmth=ResidualWarmth(), habits=Habits(0.12)
    )
    confirmation.rule_out_moves(0.0)
    log = ActivationLog(question, Trim(None).position(), 0.0)
    for age_s, value in zip(*made.readings(12.0), strict=True):
        log.note_reading(float(age_s), float(value))
        outcomes.add(confirmation.outcome(log, vague_prior(), float(age_s), late=False))
    assert outcomes == {"continue", expected}


def test_what_is_known_of_level_and_gain_is_moved_before_rf_and_confirmed_at_once():
    bench = Bench(Made(level=TARGET - 30, noise=0.0015), 1.5)
    end, _ = run(bench, prior=fleet(1.5), expected=Expected(TARGET - 29, 1.5))
    assert end.ended == "confirmed"
    assert bench.moves_with_rf_off == 1
    assert bench.seed <= 2


def test_a_wrong_expectation_never_confirms():
    for level in (TARGET - 30, TARGET + 12):
        bench = Bench(Made(level=level, noise=0.0015), 1.5)
        end, _ = run(bench, prior=fleet(1.5), expected=Expected(TARGET, 1.0))
        assert end.ended == "confirmed"
        assert abs(bench.made.at(6.0) + 1.5 * bench.counts - TARGET) <= TOLERANCE


@pytest.mark.parametrize(("off", "left_at"), [(-15, 0), (-25, 1)])
def test_counts_too_coarse_to_land_are_said_to_be_so_and_left_at_the_better_one(off, left_at):
    bench = Bench(Made(level=TARGET + off, noise=0.001), 40.0)
    end, _ = run(bench)
    assert (end.ended, end.reason) == ("not adjustable", "no count brings it into tolerance")
    assert bench.counts == left_at
    assert bench.seed <= 4


def test_the_best_count_is_good_enough_where_it_is_in_tolerance():
    bench = Bench(Made(level=TARGET - 24, noise=0.001), 8.0)
    end, _ = run(bench)
    assert end.ended == "confirmed"
    assert bench.counts == 3


def test_a_trim_that_may_not_move_under_rf_is_moved_between_activations():
    bench = Bench(Made(level=TARGET - 30, noise=0.0015), 1.5)
    end, _ = run(bench, moves_while_on=False)
    assert end.ended == "confirmed"
    assert bench.moves_with_rf_off > 0
    assert bench.moves_with_rf_on == 0


@pytest.mark.parametrize("gain", [1.5, -0.4])
def test_no_look_ends_amid_the_rise_where_the_trim_moves_with_rf_off_alone(gain):
    """What it does is seen from one activation to the next, by nothing else."""
    bench = Bench(Made(level=TARGET - 14, noise=0.0015, lag_s=1.2), gain)
    end, _ = run(bench, moves_while_on=False)
    assert end.ended == "confirmed"
    assert min(bench.looks_s) >= 6.0
    assert abs(bench.made.at(6.0) + gain * bench.counts - TARGET) <= TOLERANCE


@pytest.mark.parametrize("keys", [None, Keys(coarse_counts=10)])
@pytest.mark.parametrize(("reach", "off"), [((-200, 0), 30), ((0, 200), -30)])
def test_a_trim_that_starts_at_an_end_is_probed_the_other_way(keys, reach, off):
    for sign in (1, -1):
        bench = Bench(Made(level=TARGET + off, noise=0.0015), sign * 1.5)
        end, _ = run(bench, keys, range=reach)
        if sign > 0:
            assert end.ended == "confirmed", end
        else:
            assert end.reason == "the trim's range ends before the target"


def test_a_trim_at_its_end_is_given_up():
    bench = Bench(Made(level=TARGET - 30, noise=0.0015), 1.5)
    end, _ = run(bench, range=(-5, 5))
    assert end.reason == "the trim's range ends before the target"
    assert bench.counts == 5  # the best place that was seen, nearer than the start
    assert bench.largest <= 5


def test_play_is_told_in_counts_where_keys_move_the_trim():
    spec = PointSpec(Question(TARGET, TOLERANCE, 0.5, 1.0), 40.0, 30.0, keys=Keys())
    policy = AdjustPolicy(spec)
    for times in (2, -1):
        policy.pressed(0.0, "coarse", times)
    backlash = policy.findings.backlash
    backlash.note_misprediction(6 * 0.002, 0.002)
    assert backlash.play_counts == pytest.approx(6.0)
