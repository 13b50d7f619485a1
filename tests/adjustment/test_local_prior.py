"""The same knowledge, with level and gain where the trim stands."""

import numpy as np
import pytest

from ohmwright.adjustment.local_prior import at_new_origin
from ohmwright.estimation.coefficients import TRIM, Coefficient, output_at
from ohmwright.estimation.prior import TransientPrior, vague_prior


def test_outputs_at_every_place_stay_as_likely_as_they_were() -> None:
    rng = np.random.default_rng(3)
    root = rng.normal(size=(8, 8)) * 0.01
    prior = TransientPrior(vague_prior().mean + rng.normal(size=8) * 0.01, root @ root.T)
    here = at_new_origin(prior, output_at(40, 3)[TRIM])
    for counts, coarse in ((0, 0), (40, 3), (65, 2), (-20, 7)):
        old, new = output_at(counts, coarse), output_at(counts - 40, coarse - 3)
        assert new @ here.mean == pytest.approx(old @ prior.mean)
        assert new @ here.covariance @ new == pytest.approx(old @ prior.covariance @ old)


def test_the_gain_is_the_slope_there() -> None:
    prior = vague_prior()
    prior = prior.with_coefficient(Coefficient.GAIN, 0.002, 1e-4)
    prior = prior.with_coefficient(Coefficient.CURVATURE, 0.0004, 1e-6)
    here = at_new_origin(prior, output_at(50, 0)[TRIM])
    # the gain changes by the curvature in 100 counts
    assert here.mean_of(Coefficient.GAIN) == pytest.approx(0.002 + 0.0002)
