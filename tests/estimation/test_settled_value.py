from dataclasses import replace

import numpy as np
import pytest

from ohmwright.estimation.activation_record import ActivationRecord
from ohmwright.estimation.coefficients import Coefficient, Steps
from ohmwright.estimation.prior import NoisePrior, vague_prior
from ohmwright.estimation.settled_value import Settled, pooled, settled_value
from ohmwright.estimation.transient_estimate import fit_transient

from .activations import Made


def look(made: Made, until_s: float, seed: int = 1) -> Settled:
    age_s, value = made.readings(until_s, seed)
    return settled_value(age_s, value, window_s=made.window_s, resolution=made.resolution)


def test_value_is_the_lag_free_output_at_the_age():
    made = Made(noise=0.0001, resolution=0.01)
    seen = look(made, 9.0)
    assert seen.settled
    assert seen.value == pytest.approx(made.at(6.0), rel=1e-3)
    assert seen.uncertainty < 1.5e-3 * seen.value


def test_age_asked_for_is_honoured_when_it_is_past():
    made = Made(noise=0.0001, droop=0.01, resolution=0.01)
    age_s, value = made.readings(12.0)
    early = settled_value(age_s, value, at_age_s=3.0, window_s=0.5, resolution=0.01)
    late = settled_value(age_s, value, at_age_s=10.0, window_s=0.5, resolution=0.01)
    assert early.value - late.value == pytest.approx(made.at(3.0) - made.at(10.0), rel=0.35)


@pytest.mark.parametrize("lag_s", [0.3, 0.8, 1.5])
@pytest.mark.parametrize("second_pole", [0.1, 0.8])
def test_stated_uncertainty_covers_the_error(lag_s, second_pole):
    made = Made(lag_s=lag_s, second_pole=second_pole)
    seen = [look(made, 9.0, seed) for seed in range(60)]
    z = np.array([(s.value - made.at(6.0)) / s.uncertainty for s in seen])
    assert np.sqrt(np.mean(z**2)) < 1.3
    assert np.max(np.abs(z)) < 4


def test_correlated_noise_costs_certainty():
    white = [look(Made(correlation=0.0), 12.0, seed) for seed in range(20)]
    correlated = [look(Made(correlation=0.9), 12.0, seed) for seed in range(20)]

    def mean(seen: list[Settled], name: str) -> float:
        return float(np.mean([getattr(s, name) for s in seen]))

    assert mean(correlated, "autocorrelation") > mean(white, "autocorrelation") + 0.3
    assert mean(correlated, "uncertainty") > mean(white, "uncertainty")


def test_rising_output_is_not_settled():
    seen = look(Made(lag_s=1.5, dead_s=1.0), 4.5)
    assert not seen.settled
    assert "rising" in seen.reason


def test_scatter_hides_no_lag_of_more_than_half_a_percent(monkeypatch):
    fits = []

    def kept(*given, **named):
        fits.append(fit_transient(*given, **named))
        return fits[-1]

    monkeypatch.setattr("ohmwright.estimation.settled_value.fit_transient", kept)
    made = Made(lag_s=1.5, noise=0.01)
    seen = [look(made, until_s, seed) for seed in range(4) for until_s in (9.0, 9.5, 10.5)]
    lags = [fit.remainder for fit in fits]
    # some would be settled if a little more were let pass for being small against the scatter
    near = [(s, lag) for s, lag in zip(seen, lags, strict=True) if 0.0052 < lag < 0.0075]
    assert any(2 * s.uncertainty > lag * s.value for s, lag in near)
    assert not any(s.settled for s, _ in near)
    assert any(s.settled for s, lag in zip(seen, lags, strict=True) if 0.003 < lag < 0.0048)


def test_no_fixed_wait_a_quick_output_settles_soon():
    assert look(Made(lag_s=0.3, dead_s=0.2), 4.0).settled


def test_too_few_readings_have_no_uncertainty():
    seen = look(Made(), 0.9)
    assert not seen.settled
    assert np.isinf(seen.uncertainty)
    assert "few" in seen.reason


def test_one_spike_hardly_matters():
    made = Made()
    age_s, value = made.readings(9.0)
    spiked = value.copy()
    spiked[-6] *= 1.3
    plain = settled_value(age_s, value, window_s=0.5, resolution=1.0)
    robust = settled_value(age_s, spiked, window_s=0.5, resolution=1.0)
    assert abs(robust.value - plain.value) < plain.uncertainty
    assert robust.uncertainty < 1.5 * plain.uncertainty


def test_without_noise_the_resolution_remains():
    seen = look(Made(noise=0.0, resolution=1.0), 12.0)
    assert seen.uncertainty >= 1.0 / np.sqrt(12)
    assert seen.settled


@pytest.mark.parametrize("lag_s", [0.02, 0.05, 0.1])
def test_an_output_that_is_there_at_once_is_fine(lag_s):
    made = Made(lag_s=lag_s, dead_s=0.02, noise=0.001)
    seen = look(made, 8.0)
    assert seen.settled
    assert seen.uncertainty < 0.008 * seen.value
    assert abs(seen.value - made.at(6.0)) < 2 * seen.uncertainty


def test_no_output_at_all_is_a_value_of_zero():
    age_s = np.arange(0.5, 7.0, 0.1)
    flickering = np.round(np.abs(np.random.default_rng(2).normal(0.0, 0.4, age_s.size)))
    for value in (np.zeros_like(age_s), flickering):
        seen = settled_value(age_s, value, window_s=0.5, resolution=1.0)
        assert seen.settled
        assert seen.value == pytest.approx(0.0, abs=0.3)
        assert seen.uncertainty == pytest.approx(1 / 12**0.5)


def test_an_output_that_only_begins_to_rise_is_not_zero():
    age_s = np.arange(0.5, 7.0, 0.1)
    value = np.where(age_s > 6.5, 40.0, 0.0)
    assert not settled_value(age_s, value, window_s=0.5, resolution=1.0).settled


@pytest.mark.parametrize("droop_tau_s", [6.0, 10.0])
def test_a_droop_of_another_time_constant_is_within_the_uncertainty(droop_tau_s):
    # so quiet and so many readings that they alone would leave next to nothing
    made = Made(lag_s=0.2, droop=0.015, droop_tau_s=droop_tau_s, noise=1e-5, rate_hz=50.0)
    age_s, value = replace(made, resolution=0.001).readings(12.0)
    seen = settled_value(age_s, value, window_s=0.5, resolution=0.001)
    assert abs(seen.value - made.at(6.0)) < 2 * seen.uncertainty


def seen(value: float, uncertainty: float, extrapolation: float = 0.0) -> Settled:
    return Settled(value, uncertainty, 20.0, 0.0, True, extrapolation=extrapolation)


def test_two_values_that_agree_are_pooled_as_independent_ones_are():
    both = pooled(seen(500.0, 2.0), seen(502.0, 1.0))
    assert both.value == pytest.approx((500.0 / 4 + 502.0) / (1 / 4 + 1))
    assert both.uncertainty == pytest.approx((1 / 4 + 1) ** -0.5)
    assert both.dof == 40.0


def test_what_was_extrapolated_twice_is_no_surer():
    both = pooled(seen(500.0, 2.0, 2.0), seen(500.0, 2.0, 2.0))
    assert both.uncertainty == pytest.approx(2.0)
    assert both.extrapolation == pytest.approx(2.0)


def test_two_values_that_contradict_each_other_widen_the_statement():
    both = pooled(seen(500.0, 1.0), seen(520.0, 1.0))
    assert both.value == pytest.approx(510.0)
    assert 7.0 < both.uncertainty < 10.0


@pytest.mark.parametrize(("apart", "sds"), [(2.5, 0.0), (2.9, 0.0358), (4.0, 0.5858)])
def test_only_what_lies_beyond_two_standard_deviations_is_a_contradiction(apart, sds):
    """Of the difference of two values of standard uncertainty 1, which is sqrt(2) = 1.4142."""
    both = pooled(seen(500.0, 1.0), seen(500.0 + apart, 1.0))
    assert both.uncertainty**2 - 0.5 == pytest.approx(sds**2, abs=1e-4)


@pytest.mark.parametrize("until_s", [5.0, 12.0])
def test_what_was_extrapolated_is_what_the_uncertainty_has_beyond_the_estimate(until_s):
    """Parts add in square (GUM 5.1.2): early the lag to come is most of it, later the model."""
    made = Made(noise=0.0005, resolution=0.1)
    age_s, value = made.readings(until_s)
    seen = look(made, until_s)
    unit = float(np.median(value[-3:]))
    readings = ActivationRecord(
        age_s, value / unit, Steps.switching_on(), made.window_s, made.resolution / unit, 6.0, 0.0
    )
    prior = vague_prior().with_coefficient(Coefficient.LEVEL, 1.0, 0.3)
    fit = fit_transient(readings, prior, NoisePrior(), None, departures=True)
    estimated = unit * fit.coefficient(Coefficient.LEVEL).sd
    beyond = np.sqrt(seen.uncertainty**2 - estimated**2)
    assert seen.extrapolation == pytest.approx(beyond, rel=1e-6)


@pytest.mark.parametrize("filter_s", [0.5, 1.0, 1.5, 2.0])
@pytest.mark.parametrize("lag_s", [0.2, 0.4])
def test_a_filter_said_to_be_a_mean_shows_in_the_rise_and_costs_no_value(filter_s, lag_s):
    """Two lags in a row, after any textbook of control; taken for means, values were 2 to 10 u low.

    The window is twice the time constant of the filter, which delays as much.
    """
    age_s = np.arange(0.25, 6.0, 0.25)
    since_s = np.maximum(age_s - 0.2, 0.0)
    filtered, own = filter_s * np.exp(-since_s / filter_s), lag_s * np.exp(-since_s / lag_s)
    clean = 700 * (1 - (filtered - own) / (filter_s - lag_s))
    for seed in range(6):
        noise = 1 + 0.001 * np.random.default_rng(seed).normal(size=age_s.size)
        seen = settled_value(age_s, np.round(clean * noise), window_s=2 * filter_s, resolution=1.0)
        assert abs(seen.value - 700) < 2.5 * seen.uncertainty
        assert seen.uncertainty < 10
