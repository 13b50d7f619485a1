"""A test's bench runs one procedure at a time."""

import asyncio
from pathlib import Path

import pytest

from ohmwright.model.errors import UsageError
from ohmwright.testing.mark import Mark
from ohmwright.testing.procedure_bench import ProcedureBench
from tests.cli.guide.conftest import ALL_EXAMPLES


def test_a_second_run_beside_the_first_is_refused_and_leaves_it_alone(tmp_path: Path) -> None:
    """Would notice two that share a bench: each blamed the computer's clock for the other."""
    (text,) = {one.text for one in ALL_EXAMPLES if tuple(one.words[2:3]) == ("power.toml",)}
    (tmp_path / "power.toml").write_text(text, encoding="utf-8")
    bench = ProcedureBench.opened(tmp_path, tmp_path, tmp_path, Mark(seed=3, age_months=0))

    async def two() -> None:
        first, second = await asyncio.gather(
            *(bench.run_async("power.toml", ("as_left",)) for _ in range(2)),
            return_exceptions=True,
        )
        assert isinstance(second, UsageError)
        assert "works for another sweep or run" in str(second)
        assert not isinstance(first, BaseException)
        assert first.verdict == "pass"

    asyncio.run(two())
    with pytest.raises(UsageError, match=r"There is no file none\.toml"):
        bench.run("none.toml")
    assert bench.run("power.toml", ("as_left",)).verdict == "pass"
