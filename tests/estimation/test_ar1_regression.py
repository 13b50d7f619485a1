import numpy as np
import pytest

from ohmwright.estimation.ar1_regression import (
    Noise,
    decompose,
    diagonal_prior,
    integrate_out,
    moments,
    quantile,
    spikes,
    together,
)

NOISE = Noise(0.5, 3.0)


def whiten(x, phi):
    white = x.copy()
    white[1:] -= phi * x[:-1]
    white[0] *= np.sqrt(1 - phi**2)
    return white


def columns(n=40, seed=0):
    rng = np.random.default_rng(seed)
    return np.stack([np.ones(n), np.linspace(0, 1, n), rng.normal(size=n)], axis=1)


def test_moments_give_the_whitened_normal_matrix():
    x = columns()
    keep = np.ones(40, dtype=bool)
    normal = moments(x, keep).whitened(np.array([0.6]))[0]
    white = whiten(x, 0.6)
    np.testing.assert_allclose(normal, white.T @ white, rtol=1e-10)


def test_reading_left_out_splits_the_run():
    x = columns()
    keep = np.ones(40, dtype=bool)
    keep[17] = False
    normal = moments(x, keep).whitened(np.array([0.6]))[0]
    parts = [whiten(x[:17], 0.6), whiten(x[18:], 0.6)]
    expected = sum(part.T @ part for part in parts)
    np.testing.assert_allclose(normal, expected, rtol=1e-10)


def test_flat_prior_gives_least_squares():
    x = columns()
    sums = moments(x, np.ones(40, dtype=bool))
    prior = diagonal_prior(np.zeros(2), np.full(2, 1e-9))
    normal = sums.whitened(np.array([0.0]))
    fit = decompose(normal, prior, Noise(1.0, 1e-9), sums.count, 0.0).posterior(2)
    expected = np.linalg.lstsq(x[:, :2], x[:, 2], rcond=None)[0]
    np.testing.assert_allclose(fit.mean[0], expected, rtol=1e-6)


def test_evidence_prefers_the_true_correlation():
    rng = np.random.default_rng(3)
    noise = np.zeros(400)
    for i in range(1, 400):
        noise[i] = 0.7 * noise[i - 1] + rng.normal()
    x = np.stack([np.ones(400), noise], axis=1)
    sums = moments(x, np.ones(400, dtype=bool))
    phi = np.array([0.0, 0.35, 0.7, 0.9])
    prior = diagonal_prior(np.zeros(1), np.ones(1))
    fit = decompose(sums.whitened(phi), prior, Noise(1.0, 1.0), sums.count, sums.start_terms(phi))
    assert phi[np.argmax(fit.log_evidence)] == 0.7


@pytest.mark.parametrize("size", [20.0, -20.0])
def test_spike_is_flagged_and_a_step_is_not(size):
    rng = np.random.default_rng(1)
    noise = rng.normal(size=60)
    keep = np.ones(60, dtype=bool)
    spiked, stepped = noise.copy(), noise.copy()
    spiked[30] += size
    stepped[30:] += size
    assert spikes(spiked, 0.3, keep)[30]
    assert not spikes(stepped, 0.0, keep)[30]


def wandering(correlation, n, seed):
    shocks = np.random.default_rng(seed).normal(size=n)
    noise = shocks.copy()
    for i in range(1, n):
        noise[i] = correlation * noise[i - 1] + np.sqrt(1 - correlation**2) * shocks[i]
    return noise


@pytest.mark.parametrize("correlation", [0.0, 0.3, 0.5, 0.7, 0.88])
@pytest.mark.parametrize("size", [15.0, -15.0])
@pytest.mark.parametrize("at", [12, 29])
def test_a_spike_is_flagged_alone_whatever_the_correlation(correlation, size, at):
    """At the end, too, where nothing has come back yet; reference: made by these tests."""
    for seed in range(20):
        noise = wandering(correlation, 30, seed)
        before = spikes(noise, correlation, np.ones(30, dtype=bool))
        noise[at] += size
        flags = spikes(noise, correlation, np.ones(30, dtype=bool))
        assert flags[at]
        assert not (flags & ~before)[np.arange(30) != at].any()


@pytest.mark.parametrize("correlation", [0.0, 0.3, 0.5, 0.7, 0.88])
def test_nothing_is_left_out_of_a_step_that_lasts(correlation):
    """Neither the readings about it, nor the newest, far from the median as it may be."""
    for seed in range(20):
        for at in (8, 20):
            noise = wandering(correlation, 30, seed)
            before = spikes(noise, correlation, np.ones(30, dtype=bool))
            noise[at:] += 15.0
            flags = spikes(noise, correlation, np.ones(30, dtype=bool))
            assert not (flags & ~before).any()


def test_a_spike_beyond_the_shocks_is_flagged_in_noise_that_wanders():
    rng = np.random.default_rng(2)
    noise = np.zeros(120)
    for i in range(1, 120):
        noise[i] = 0.88 * noise[i - 1] + rng.normal()
    noise[60] += 10.0
    flags = spikes(noise, 0.88, np.ones(120, dtype=bool))
    assert flags[60]
    assert np.count_nonzero(flags) <= 2  # the way back is one too


def test_coefficients_not_wanted_are_integrated_out():
    """What is left is the regression on the last column under the covariance of both together."""
    x = columns()
    keep = np.ones(40, dtype=bool)
    phi, sd = 0.5, np.array([0.7, 0.3])
    normal = moments(x, keep).whitened(np.array([phi]))
    prior = diagonal_prior(np.zeros(2), 1 / sd**2)
    fit = decompose(normal, prior, Noise(1.0, 1e12), 40, 0.0).posterior(1)
    lags = np.abs(np.subtract.outer(np.arange(40), np.arange(40)))
    covariance = phi**lags / (1 - phi**2) + sd[0] ** 2 * np.outer(x[:, 0], x[:, 0])
    weighted = np.linalg.solve(covariance, x[:, 1])
    precision = x[:, 1] @ weighted + sd[1] ** -2
    assert fit.mean.shape == (1, 1)
    assert fit.mean[0, 0] == pytest.approx(weighted @ x[:, 2] / precision, rel=1e-6)
    assert fit.scale2[0] * fit.covariance[0, 0, 0] == pytest.approx(1 / precision, rel=1e-6)


def test_coefficients_integrated_out_first_leave_the_same_evidence_and_posterior():
    """One block after the other is the whole: the same decomposition in two parts."""
    normal = moments(columns(), np.ones(40, dtype=bool)).whitened(np.array([0.0, 0.5]))
    both, noise = 1 / np.array([0.7, 0.3]) ** 2, Noise(0.5, 3.0)
    whole = decompose(normal, diagonal_prior(np.zeros(2), both), noise, 40, 0.0)
    left, terms = integrate_out(normal, both[:1])
    parted = decompose(left, diagonal_prior(np.zeros(1), both[1:]), noise, 40, terms)
    assert parted.log_evidence == pytest.approx(whole.log_evidence, rel=1e-9)
    assert parted.posterior(1).mean == pytest.approx(whole.posterior(1).mean, rel=1e-6)


def test_many_cases_side_by_side_come_out_as_each_alone():
    """Many are inverted at once, few by numpy; the readings are the same 40 of three columns."""
    normal = moments(columns(), np.ones(40, dtype=bool)).whitened(np.linspace(0.0, 0.9, 30))
    wide = decompose(normal[:, None], diagonal_prior(np.zeros(2), np.ones(2)), NOISE, 40, 0.0)
    narrow = decompose(
        normal[:, None], diagonal_prior(np.zeros(2), np.full(2, 9.0)), NOISE, 40, 0.0
    )
    many = together([wide, narrow], 2).posterior(2)
    assert many.mean.shape == (30, 2, 2)
    for side, found in enumerate((wide, narrow)):
        for case in range(30):
            one = found.posterior(2, case)
            assert many.mean[case, side] == pytest.approx(one.mean[0], rel=1e-12)
            assert many.covariance[case, side] == pytest.approx(one.covariance[0], rel=1e-12)


@pytest.mark.parametrize("share", [0.0, 0.15, 0.5, 0.85, 1.0])
@pytest.mark.parametrize("count", [1, 2, 9, 40])
def test_quantile_is_that_of_numpy(count, share):
    values = np.random.default_rng(count).normal(size=count)
    assert quantile(np.sort(values), share) == pytest.approx(np.quantile(values, share), rel=1e-12)
