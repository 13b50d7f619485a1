"""Budgets from an analyzer's certificate, held against GTC and uncertainties."""

import math
from dataclasses import replace
from datetime import date

import pytest
from GTC import ureal
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import correlated_values, ufloat

from ohmwright.engine.measured_value import (
    DATED,
    ESTIMATED,
    EXTRAPOLATED,
    READINGS,
    Accuracy,
    linear_measured_value,
    measured_of_budget,
    measured_value,
)
from ohmwright.estimation.settled_value import Settled
from ohmwright.model.analyzer_certificate import (
    AnalyzerCertificate,
    CurrentRange,
    Drift,
    LoadAccuracy,
)
from ohmwright.model.result import AMPLE_DOF
from ohmwright.model.step import Timing
from ohmwright.uncertainty.budget import combine
from ohmwright.uncertainty.inputs import Input

TIMING = Timing()
CALIBRATED = date(2025, 1, 1)


def certificate(
    *, percent: float = 0.4, k: float | None = 2.0, correlation: float = 0.0, floor_ma: float = 0.5
) -> AnalyzerCertificate:
    low = CurrentRange(up_to_ma=100, percent=1.0, resolution_ma=0.1, coverage_factor=2.0)
    high = CurrentRange(
        up_to_ma=2000, percent=percent, floor_ma=floor_ma, resolution_ma=1, coverage_factor=k
    )
    return AnalyzerCertificate(
        number="C1",
        laboratory="L",
        calibrated_on=CALIBRATED,
        due_on=date(2026, 1, 1),
        current=(low, high),
        load=LoadAccuracy(percent=0.6),
        drift=Drift(current_percent_per_year=0.2, load_percent_per_year=0.1),
        current_load_correlation=correlation,
    )


def accuracy(on: date = date(2025, 7, 2), **changed: float | None) -> Accuracy:
    return Accuracy(certificate(**changed), on)  # type: ignore[arg-type]


def settled(value: float, u: float = 1.5, dof: float = 12.0) -> Settled:
    return Settled(value, u, dof, 0.3, True)


def lines(accuracy: Accuracy, current_ma: float, load_ohm: float) -> dict[str, float]:
    """Standard uncertainties as the certificate means them, worked out by hand."""
    years = (accuracy.on - CALIBRATED).days / 365.25
    return {
        "meter": (0.004 * current_ma + 0.5) / 2,
        "meter drift": 0.002 * years * current_ma / math.sqrt(3),
        "load": 0.006 * load_ohm / math.sqrt(3),
        "load drift": 0.001 * years * load_ohm / math.sqrt(3),
    }


@given(st.floats(150.0, 1900.0), st.floats(10.0, 2000.0), st.floats(0.5, 20.0))
def test_a_power_budget_agrees_with_uncertainties(
    current_ma: float, load_ohm: float, u_ma: float
) -> None:
    seen = linear_measured_value(settled(current_ma, u_ma), "power_w", load_ohm, TIMING, accuracy())
    by_hand = lines(accuracy(), current_ma, load_ohm)
    current = ufloat(current_ma, u_ma) + ufloat(0, by_hand["meter"])
    current += ufloat(0, by_hand["meter drift"])
    load = load_ohm + ufloat(0, by_hand["load"]) + ufloat(0, by_hand["load drift"])
    expected = (current / 1000) ** 2 * load
    assert seen.value == pytest.approx(expected.nominal_value, rel=1e-12)
    assert seen.uncertainty == pytest.approx(expected.std_dev, rel=1e-9)


@given(st.floats(-0.9, 0.9))
def test_meter_and_load_that_share_a_reference_are_correlated(correlation: float) -> None:
    seen = linear_measured_value(
        settled(800.0), "power_w", 500.0, TIMING, accuracy(correlation=correlation)
    )
    by_hand = lines(accuracy(), 800.0, 500.0)
    meter, load = correlated_values(
        [0.0, 500.0],
        [
            [by_hand["meter"] ** 2, correlation * by_hand["meter"] * by_hand["load"]],
            [correlation * by_hand["meter"] * by_hand["load"], by_hand["load"] ** 2],
        ],
    )
    current = ufloat(800.0, 1.5) + meter + ufloat(0, by_hand["meter drift"])
    expected = (current / 1000) ** 2 * (load + ufloat(0, by_hand["load drift"]))
    assert seen.uncertainty == pytest.approx(expected.std_dev, rel=1e-9)
    assert seen.correlation == (correlation if correlation != 0 else None)


def test_expansion_agrees_with_gtc() -> None:
    seen = linear_measured_value(settled(800.0, 6.0, 4.0), "power_w", 500.0, TIMING, accuracy())
    by_hand = lines(accuracy(), 800.0, 500.0)
    current = ureal(800.0, 6.0, 4.0) + ureal(0, by_hand["meter"])
    current = current + ureal(0, by_hand["meter drift"])
    load = ureal(500.0, by_hand["load"]) + ureal(0, by_hand["load drift"])
    power = current * current * load / 1e6
    assert seen.uncertainty == pytest.approx(power.u, rel=1e-9)
    assert seen.dof == pytest.approx(power.df, rel=1e-9)
    assert seen.expanded == pytest.approx(seen.coverage_factor * seen.uncertainty)
    assert seen.coverage_factor > 2.2  # few degrees of freedom


def test_what_one_scatter_made_uncertain_has_its_degrees_of_freedom_once() -> None:
    """GUM G.4.1: the readings, and lag and droop as estimated by these same readings."""
    whole = settled(800.0, 6.0, 4.0)
    apart = replace(whole, scatter=4.0)
    of_whole, of_apart = (
        linear_measured_value(one, "power_w", 500.0, TIMING, accuracy()) for one in (whole, apart)
    )
    assert len(of_apart.budget) == len(of_whole.budget) + 1
    assert of_apart.dof == pytest.approx(of_whole.dof, rel=1e-9)


def test_infinite_degrees_of_freedom_are_a_number_in_the_record() -> None:
    seen = measured_value(settled(800.0, 6.0, math.inf), "current_ma", 500.0, TIMING, None)
    assert seen.dof == AMPLE_DOF


def test_a_current_has_no_line_for_the_load_and_every_line_is_in_the_record() -> None:
    seen = measured_value(settled(800.0), "current_ma", 500.0, TIMING, accuracy())
    assert [(x.source, x.evaluation) for x in seen.budget] == [
        ("readings", "A"),
        ("meter accuracy", "B"),
        ("meter drift", "B"),
    ]
    together = math.hypot(*(x.standard_uncertainty for x in seen.budget))
    assert together == pytest.approx(seen.uncertainty)


def test_readings_are_never_better_than_the_last_digit() -> None:
    seen = linear_measured_value(settled(800.0, 0.01), "current_ma", 500.0, TIMING, accuracy())
    assert seen.budget[0].standard_uncertainty == pytest.approx(1 / math.sqrt(12))
    fine = linear_measured_value(settled(80.0, 0.01), "current_ma", 500.0, TIMING, accuracy())
    assert fine.budget[0].standard_uncertainty == pytest.approx(0.1 / math.sqrt(12))


def test_drift_grows_from_the_day_of_calibration() -> None:
    def u(on: date) -> float:
        seen = linear_measured_value(settled(800.0), "current_ma", 500.0, TIMING, accuracy(on))
        return {x.source: x.standard_uncertainty for x in seen.budget}.get("meter drift", 0.0)

    assert u(CALIBRATED) == 0.0
    assert u(date(2024, 6, 1)) == 0.0  # a clock that runs behind
    assert u(date(2027, 1, 1)) == pytest.approx(2 * u(date(2026, 1, 1)), rel=1e-3)


def test_a_limit_of_error_is_wider_than_its_rectangle() -> None:
    stated = linear_measured_value(settled(800.0), "current_ma", 500.0, TIMING, accuracy())
    limit = linear_measured_value(settled(800.0), "current_ma", 500.0, TIMING, accuracy(k=None))
    ratio = limit.budget[1].standard_uncertainty / stated.budget[1].standard_uncertainty
    assert ratio == pytest.approx(2 / math.sqrt(3))


def test_without_a_certificate_there_is_type_a_alone() -> None:
    seen = measured_value(settled(800.0, 2.0), "power_w", 500.0, TIMING, None)
    assert [x.evaluation for x in seen.budget] == ["A"]
    assert seen.uncertainty == pytest.approx(2 * 0.8 * 500 * 0.002)
    assert seen.dof == pytest.approx(12.0)


def test_a_current_hardly_known_is_simulated() -> None:
    weak = accuracy(floor_ma=60.0)
    seen = measured_value(settled(150.0, 10.0), "power_w", 500.0, TIMING, weak)
    linear = linear_measured_value(settled(150.0, 10.0), "power_w", 500.0, TIMING, weak)
    assert seen.propagation == "Monte Carlo"
    assert linear.propagation == "linear"
    # the mean of a square is above the square of the mean
    assert seen.value > linear.value
    assert seen.budget == linear.budget


def test_a_correlated_limit_of_error_can_be_simulated_too() -> None:
    seen = measured_value(
        settled(150.0, 10.0),
        "power_w",
        500.0,
        TIMING,
        accuracy(k=None, floor_ma=60.0, correlation=0.5),
    )
    assert seen.propagation == "Monte Carlo"


def test_a_meter_that_reads_below_zero_has_no_negative_uncertainty() -> None:
    for quantity in ("current_ma", "power_w"):
        seen = linear_measured_value(settled(-2.0), quantity, 500.0, TIMING, accuracy())
        assert all(line.standard_uncertainty >= 0 for line in seen.budget)
        assert seen.uncertainty > 0


def test_lines_of_a_budget_are_sizes_whatever_the_sign_of_a_sensitivity() -> None:
    """GUM 5.1.2: an uncertainty is positive, also where the result falls as the input rises."""
    inputs = (Input("up", 3.0, 0.3, distribution="normal"), Input("down", 2.0, 0.4))
    measured = measured_of_budget(combine(1.0, inputs, (1.0, -1.0)), "power_w", 6.0)
    assert [line.standard_uncertainty for line in measured.budget] == pytest.approx([0.3, 0.4])
    assert measured.uncertainty == pytest.approx(0.5)


def test_the_lines_of_a_settled_value_add_up_to_its_uncertainty() -> None:
    """What is neither scatter, extrapolated nor dated is estimated: 9 less 1.44, 0.64 and 0.25."""
    known = Settled(500.0, 3.0, 12.0, 0.3, True, scatter=1.2, extrapolation=0.8, dating=0.5)
    seen = linear_measured_value(known, "current_ma", 500.0, TIMING, None)
    assert {line.source: line.standard_uncertainty for line in seen.budget} == pytest.approx(
        {READINGS: 1.2, ESTIMATED: math.sqrt(6.67), EXTRAPOLATED: 0.8, DATED: 0.5}
    )
    assert seen.uncertainty == pytest.approx(3.0)


def test_a_simulated_power_grows_where_meter_and_load_are_off_together() -> None:
    """The mean of I² R is larger than with errors of their own by 2 I cov(meter, load)."""
    load, meter_a, u_ohm = LoadAccuracy(percent=6.0), 0.8 * 0.75 + 0.00025, 30.0 / math.sqrt(3)
    alone, together = (
        measured_value(
            settled(800.0, 150.0),
            "power_w",
            500.0,
            TIMING,
            Accuracy(
                certificate(percent=150.0, correlation=each).model_copy(update={"load": load}),
                CALIBRATED,
            ),
        )
        for each in (1e-9, 0.9)
    )
    assert (alone.propagation, together.propagation) == ("Monte Carlo", "Monte Carlo")
    more_w = 2 * 0.8 * 0.9 * meter_a * u_ohm
    assert together.value - alone.value == pytest.approx(more_w, rel=0.15)
