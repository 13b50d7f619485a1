"""What `ohmwright checks` runs, and that a wrong value would show in it."""

import json
import math
import runpy
from collections.abc import Callable, Iterator
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from ohmwright.installation.catalogue import all_checks
from ohmwright.installation.check import Check, Value


def checks() -> Iterator[Check]:
    for of_subject in all_checks().values():
        yield from of_subject


def test_agrees(check: Check, holds: Callable[[Check], None]) -> None:
    holds(check)


def test_a_wrong_value_does_not_agree() -> None:
    def agrees(expected: Value, got: Callable[[], Value]) -> bool:
        return Check("source", "clause", "what", expected, 0.1, got, "reference").result().agrees

    def fails() -> float:
        raise ZeroDivisionError

    assert agrees(1.0, lambda: 1.05)
    assert agrees("pass", lambda: "pass")
    assert not agrees(1.0, lambda: 1.2)
    assert not agrees(1.0, lambda: math.nan)
    assert not agrees(1.0, fails)
    assert not agrees("pass", lambda: "fail")
    assert not agrees("pass", fails)


def test_stored_activations_are_what_their_script_makes() -> None:
    script = runpy.run_path(str(Path(__file__).parents[2] / "scripts/make_transients.py"))
    stored = json.loads(
        files("ohmwright.installation").joinpath("data", "transients.json").read_text()
    )
    rng = np.random.default_rng(stored["seed"])
    for name, unit in script["UNITS"].items():
        ages_s, current_ma, truth_ma = script["readings"](unit, rng)
        kept = stored["transients"][name]
        assert kept["truth_ma"] == pytest.approx(truth_ma, abs=1e-3)
        np.testing.assert_allclose(kept["age_s"], ages_s)
        np.testing.assert_allclose(kept["current_ma"], current_ma, atol=0.51)
