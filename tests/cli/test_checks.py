"""The installation check, as a person and as a program read it, and what it notices."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from ohmwright.installation import budgets, catalogue, transients

CACHED = (
    budgets._gauge,
    budgets._resistance,
    budgets._power,
    budgets._hardly_known,
    transients._observation,
)


@pytest.fixture(autouse=True)
def _nothing_remembered() -> Any:
    yield
    for each in CACHED:
        each.cache_clear()


@pytest.fixture
def differing(ohmwright: Callable) -> Callable[[], set[str]]:
    """Clause and value of every row that differs; the command must then have ended in 1."""

    def rows() -> set[str]:
        for each in CACHED:
            each.cache_clear()
        outcome = ohmwright("checks", "--json")
        wrong = {f"{row['clause']}: {row['what']}" for row in outcome.json if not row["agrees"]}
        assert outcome.code == (1 if wrong else 0)
        return wrong

    return rows


def test_everything_agrees_and_says_what_it_shows(
    ohmwright: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    outcome = ohmwright("checks")
    assert outcome.code == 0
    assert "all agree." in outcome.out
    assert "DIFFERS" not in outcome.out
    assert all(subject in outcome.out for subject in catalogue.SUBJECTS)
    assert "What this shows: on this computer" in outcome.out
    assert "What it does not show: that the instruments" in outcome.out
    assert max(map(len, outcome.out.splitlines())) <= 80


def test_a_program_reads_every_row(ohmwright: Callable) -> None:
    outcome = ohmwright("checks", "--json")
    assert outcome.code == 0
    assert len(outcome.json) == sum(map(len, catalogue.all_checks().values()))
    u = next(row for row in outcome.json if row["what"] == "u, nm")
    assert u["expected"] == 32
    assert abs(u["got"] - 32) <= u["tolerance"]
    assert u["status"] == "published"
    assert {row["expected"] for row in outcome.json} >= {"pass", "fail", "undecided"}


def test_a_wrong_expansion_factor(differing: Callable, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ohmwright.uncertainty.budget.coverage_factor", lambda *_: 2.0)
    assert differing() == {
        "G.4.1 and table G.2: t for 4 degrees of freedom, 95 %",
        "G.4.1 and table G.2: t for infinitely many, 95 %",
        "power from a certificate: U(P), W",
    }


def test_correlations_left_out(differing: Callable, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        "ohmwright.uncertainty.budget.correlation_matrix", lambda inputs, _: np.eye(len(inputs))
    )
    assert differing() == {
        "H.2 resistance, correlated: u(R), ohm",
        "power, meter and load correlated: u(P), W",
    }


def test_a_guard_band_taken_off_the_wrong_way(
    differing: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    from ohmwright.uncertainty.conformity import Limits

    monkeypatch.setattr(
        Limits, "moved_inwards", lambda self, band: Limits(self.lower - band, self.upper + band)
    )
    wrong = differing()
    assert "4.2.2 guard band, on 80 to 120: acceptance limit, U = 10" in wrong
    assert "Z540.3 5.3 b, global risk at most 2 %: share of tolerance, 80 %, 2:1" in wrong
    assert "tolerances of a point of 150 W: -10 %, +5 %: less a guard band of 2 W" in wrong


def test_the_four_to_one_rule_at_three_to_one(
    differing: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    from ohmwright.engine import judge
    from ohmwright.uncertainty.conformity import UncertaintyRatioRule

    monkeypatch.setattr(judge.rules, "UncertaintyRatioRule", lambda: UncertaintyRatioRule(3.0))
    assert differing() == {"5.3 b, 2 % and 4:1, on 80 to 120: 119.9, 3.98:1"}


def test_scatter_that_is_not_heeded(differing: Callable, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ohmwright.engine.judge.scatter_half_width", lambda _: 0.0)
    assert differing() == {
        "test uncertainty ratio; scatter of readings: 119, simple, readings' u = 1",
        "test uncertainty ratio; scatter of readings: 121, simple, readings' u = 1",
        "on the limit output, 500 mA +-5.85 mA: verdict",
    }


def test_an_rms_that_is_the_mean_magnitude(
    differing: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    from ohmwright.uncertainty import waveform

    def mean_magnitude(record: Any) -> tuple[float, float, float]:
        floats = np.asarray(record, dtype=float)
        return float(np.mean(np.abs(floats))) ** 2 * floats.size, floats.min(), floats.max()

    monkeypatch.setattr(waveform, "_scan", mean_magnitude)
    wrong = differing()
    assert "sine of 100 V: RMS, V" in wrong
    assert "damped sine, 450 kHz, 1e5 /s, every 32 us: crest factor, int16" in wrong


def test_a_settled_value_a_percent_too_high(
    differing: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    from ohmwright.engine import stop_rules

    settled_of = stop_rules.settled_of

    def a_percent_high(*known: Any) -> Any:
        settled = settled_of(*known)
        return replace(settled, value=1.01 * settled.value)

    monkeypatch.setattr(stop_rules, "settled_of", a_percent_high)
    assert "quick output, 700 mA +-2 %: value, mA" in differing()


def test_a_leakage_limit_that_is_no_root(
    differing: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("ohmwright.engine.steps.leakage.sqrt", lambda x: x)
    assert differing() == {
        "HF leakage into 200 ohm: limit at 1 % of 450 W, mA",
        "HF leakage against that limit: 149 mA",
    }


def test_a_chain_without_the_hash_before(
    differing: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    from ohmwright.installation import records

    monkeypatch.setattr(records, "chain_hash", lambda _, body: records.sha256_digest(body))
    assert differing() == {"SHA-256 examples: 448 bits as hash and event, begins with"}


def test_what_raises_is_a_row_that_differs(
    ohmwright: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    def breaks(*_: Any) -> float:
        raise FloatingPointError("no such instruction")

    monkeypatch.setattr("ohmwright.uncertainty.budget.coverage_factor", breaks)
    for each in CACHED:
        each.cache_clear()
    outcome = ohmwright("checks")
    assert outcome.code == 1
    assert "DIFFERS" in outcome.out
    assert "DIFFER." in outcome.out
    assert "FloatingPointError" in outcome.out
