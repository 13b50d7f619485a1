import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest
from statsmodels.stats.proportion import proportion_confint

from ohmwright.fleet import binomial

COUNTS = st.integers(1, 300).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))
CONFIDENCE = st.floats(0.5, 0.999)


@given(COUNTS, CONFIDENCE)
def test_limits_agree_with_scipy_and_statsmodels(counts: tuple[int, int], level: float) -> None:
    good, trials = counts
    exact = binomtest(good, trials).proportion_ci(level, method="exact")
    ours = binomial.clopper_pearson(good, trials, level)
    assert (ours.lower, ours.upper) == pytest.approx((exact.low, exact.high), abs=1e-8)
    wilson = proportion_confint(good, trials, 1 - level, method="wilson")
    short = binomial.wilson(good, trials, level)
    assert (short.lower, short.upper) == pytest.approx(wilson, abs=1e-9)


@pytest.mark.parametrize(("good", "trials"), [(3, 2), (-1, 5), (0, 0)])
def test_impossible_counts_are_refused(good: int, trials: int) -> None:
    with pytest.raises(ValueError, match="is no count"):
        binomial.wilson(good, trials)
