"""Differences of two values of one analyzer, against the uncertainties package and GTC."""

import math
from datetime import date

import pytest
from GTC import ureal
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import correlated_values, ufloat

from ohmwright.engine.difference import covariance, difference
from ohmwright.engine.measured_value import Accuracy, linear_measured_value
from ohmwright.estimation.settled_value import Settled
from ohmwright.model.analyzer_certificate import AnalyzerCertificate, CurrentRange, LoadAccuracy
from ohmwright.model.result import Measured
from ohmwright.model.step import Timing


def power(
    current_ma: float,
    u_ma: float = 1.5,
    dof: float = 12.0,
    *,
    load_ohm: float = 500.0,
    correlation: float = 0.0,
    number: str = "C1",
    scatter_ma: float | None = None,
) -> Measured:
    certificate = AnalyzerCertificate(
        number=number,
        laboratory="L",
        calibrated_on=date(2025, 1, 1),
        due_on=date(2026, 1, 1),
        current=(CurrentRange(up_to_ma=2000, percent=1, resolution_ma=0.1, coverage_factor=2),),
        load=LoadAccuracy(percent=1.0, coverage_factor=2),
        current_load_correlation=correlation,
    )
    settled = Settled(current_ma, u_ma, dof, 0.0, settled=True, scatter=scatter_ma)
    known = Accuracy(certificate, date(2025, 1, 1))
    return linear_measured_value(settled, "power_w", load_ohm, Timing(), known)


CURRENTS_MA = st.floats(100, 1900)


@given(CURRENTS_MA, CURRENTS_MA, st.sampled_from([500.0, 200.0]))
def test_meter_and_load_are_one_error_each(first: float, second: float, load_ohm: float) -> None:
    gain, load, other = ufloat(1, 0.005), ufloat(500, 2.5), ufloat(load_ohm, 0.005 * load_ohm)
    if load_ohm == 500:
        other = load
    ours = difference(power(first), power(second, load_ohm=load_ohm))
    one = ((ufloat(first, 1.5) - first + first * gain) / 1000) ** 2 * load
    two = ((ufloat(second, 1.5) - second + second * gain) / 1000) ** 2 * other
    theirs = one - two
    assert ours.value == pytest.approx(theirs.nominal_value, rel=1e-9, abs=1e-9)
    assert ours.uncertainty == pytest.approx(theirs.std_dev, rel=1e-9)


@given(CURRENTS_MA, CURRENTS_MA, st.floats(-0.9, 0.9).filter(bool))
def test_with_one_reference_each_meter_goes_with_the_others_load(
    first: float, second: float, correlation: float
) -> None:
    ours = difference(power(first, correlation=correlation), power(second, correlation=correlation))
    both = correlation * 0.005 * 0.005
    gain, load = correlated_values([1, 1], [[0.005**2, both], [both, 0.005**2]])
    one = ((ufloat(first, 1.5) - first + first * gain) / 1000) ** 2 * 500 * load
    two = ((ufloat(second, 1.5) - second + second * gain) / 1000) ** 2 * 500 * load
    assert ours.uncertainty == pytest.approx((one - two).std_dev, rel=1e-6)


def test_equal_values_differ_by_their_readings_alone() -> None:
    ours = difference(power(800.0, 2.0), power(800.0, 1.0))
    assert ours.uncertainty == pytest.approx(2 * 0.8 * 500 * math.hypot(2.0, 1.0) / 1000)


def test_expansion_agrees_with_gtc() -> None:
    gain, load = ureal(1, 0.005), ureal(500, 2.5)
    one = ((ureal(0, 6.0, 4.0) + 800 * gain) / 1000) ** 2 * load
    two = ((ureal(0, 3.0, 9.0) + 700 * gain) / 1000) ** 2 * load
    ours, theirs = difference(power(800.0, 6.0, 4.0), power(700.0, 3.0, 9.0)), one - two
    assert ours.uncertainty == pytest.approx(theirs.u, rel=1e-9)
    assert ours.dof == pytest.approx(theirs.df, rel=1e-9)
    assert ours.expanded() == pytest.approx(ours.uncertainty * 2.3, rel=0.1)


def test_what_one_scatter_made_uncertain_has_its_degrees_of_freedom_once() -> None:
    """GUM G.4.1: a value's readings, and lag and droop by these same readings."""
    apart = difference(power(800.0, 6.0, 4.0, scatter_ma=4.0), power(700.0, 3.0, 9.0))
    whole = difference(power(800.0, 6.0, 4.0), power(700.0, 3.0, 9.0))
    assert apart.dof == pytest.approx(whole.dof, rel=1e-9)


def test_another_certificate_shares_nothing() -> None:
    assert covariance(power(800.0), power(800.0, number="C2")) == 0.0
    ours = difference(power(800.0), power(800.0, number="C2"))
    assert ours.uncertainty == pytest.approx(math.sqrt(2) * power(800.0).uncertainty)


def test_records_that_name_no_shared_errors_are_taken_as_independent() -> None:
    old = power(800.0)
    old = old.model_copy(
        update={"budget": tuple(x.model_copy(update={"shared": None}) for x in old.budget)}
    )
    assert difference(old, power(800.0)).uncertainty == pytest.approx(
        math.sqrt(2) * old.uncertainty
    )


def test_a_value_shares_with_itself_all_but_its_readings() -> None:
    one = power(800.0)
    alone = next(x.standard_uncertainty for x in one.budget if x.source == "readings")
    assert covariance(one, one) == pytest.approx(one.uncertainty**2 - alone**2)
