"""The trace of one reading from port to result, as `scripts/trace_reading` makes it."""

import asyncio
import sys

import pytest

from scripts import trace_reading


def test_a_reading_crosses_no_more_modules_than_the_bar() -> None:
    crossed = list(asyncio.run(trace_reading.trace()).modules)
    assert len(crossed) <= trace_reading.MOST
    stations = ["wire.framing", "wire.dialogue", "engine.sampling", "engine.stop_rules"]
    stations += ["uncertainty.budget", "uncertainty.conformity"]
    places = [crossed.index(station) for station in stations]
    assert places == sorted(places)
    assert places[0] == 0
    assert not [module for module in crossed if module.startswith("simulator")]


def test_the_release_is_not_on_the_way() -> None:
    assert "engine.release" not in asyncio.run(trace_reading.trace()).modules


@pytest.mark.parametrize(("most", "code"), [("1", 1), ("1000", 0)])
def test_the_exit_code_tells_whether_the_bar_is_met(
    capsys: pytest.CaptureFixture[str], most: str, code: int
) -> None:
    assert trace_reading.main(["--most", most]) == code
    assert f"the bar is {most}" in capsys.readouterr().out
    assert sys.getprofile() is None
