"""An open bench works for one job at a time."""

import pytest

from ohmwright.api.bench_use import BenchUse
from ohmwright.model.errors import UsageError


def test_a_job_that_failed_has_the_bench_no_longer() -> None:
    """Would notice a bench that refuses all work after one error, or works for two, or closed."""
    use = BenchUse()
    with pytest.raises(UsageError, match="is closed"), use.one_job():
        pytest.fail("the block was entered")
    use.is_open = True
    with pytest.raises(ZeroDivisionError):
        _fail_within(use)
    use.refuse_unready()


def _fail_within(use: BenchUse) -> None:
    with use.one_job():
        with pytest.raises(UsageError, match="works for another sweep or run"), use.one_job():
            pytest.fail("the block was entered")
        with pytest.raises(UsageError, match="works for another sweep or run"):
            use.refuse_unready()
        _ = 1 / 0
