"""Lines of a budget for stated effects, against complex impedances and uncertainties."""

import math
from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError
from uncertainties import ufloat

from ohmwright.engine.influences import Conditions, stated_effects
from ohmwright.engine.measured_value import (
    Accuracy,
    left_out,
    linear_measured_value,
    measured_value,
)
from ohmwright.estimation.settled_value import Settled
from ohmwright.model.analyzer_certificate import (
    AnalyzerCertificate,
    CurrentRange,
    Drift,
    Influences,
    LoadAccuracy,
)
from ohmwright.model.hardware import Mode
from ohmwright.model.result import Measured
from ohmwright.model.step import Timing

CARRIER_HZ = 450e3
COAG = Mode(name="coag", kind="coag", max_setting_w=120, rated_load_ohm=500, carrier_hz=CARRIER_HZ)
STATED = Influences(
    load_inductance_uh=0.4,
    stray_capacitance_pf=20,
    lead_inductance_uh=1.0,
    lead_capacitance_pf=40,
    crest_factor_percent=0.3,
    calibrated_at_c=23,
    current_percent_per_k=0.02,
    load_percent_per_k=0.01,
    reconnection_percent=0.05,
    reconnections=10,
)
EVERY_EFFECT = (
    "meter drift",
    "meter bandwidth",
    "crest factor response",
    "meter temperature",
    "load reactance",
    "stray capacitance",
    "lead inductance",
    "lead capacitance",
    "reconnection",
)
OF_THE_LOAD = ("load drift", "load temperature")


def accuracy(
    influences: Influences = STATED,
    *,
    room_c: float | None = 18.0,
    mode: Mode | None = COAG,
    load_ohm: float = 500.0,
) -> Accuracy:
    certificate = AnalyzerCertificate(
        number="C1",
        laboratory="L",
        calibrated_on=date(2025, 1, 1),
        due_on=date(2026, 1, 1),
        current=(
            CurrentRange(up_to_ma=250, percent=0.3, resolution_ma=1, coverage_factor=2),
            CurrentRange(up_to_ma=2000, percent=0.4, resolution_ma=1, coverage_factor=2),
        ),
        load=LoadAccuracy(percent=0.6),
        drift=Drift(current_percent_per_year=0.2, load_percent_per_year=0.1),
        influences=influences,
    )
    at = Conditions(bandwidth_hz=10e6, room_c=room_c)
    if mode is not None:
        at = replace(at, mode=mode.name, carrier_hz=mode.carrier_hz)
    return Accuracy(certificate, date(2026, 1, 1), stated_effects(influences, at, load_ohm))


def power(
    current_ma: float, known: Accuracy | None, load_ohm: float = 500.0, quantity: str = "power_w"
) -> Measured:
    settled = Settled(current_ma, 1.5, 12.0, 0.0, settled=True)
    return measured_value(settled, quantity, load_ohm, Timing(), known)


def current_lines(current_ma: float, load_ohm: float) -> dict[str, float]:
    """The lines alone, without the Monte Carlo that many a budget of them calls for."""
    settled = Settled(current_ma, 1.5, 12.0, 0.0, settled=True)
    known = accuracy(load_ohm=load_ohm)
    return lines(linear_measured_value(settled, "current_ma", load_ohm, Timing(), known))


def lines(measured: Measured) -> dict[str, float]:
    return {line.source: line.standard_uncertainty for line in measured.budget}


@given(st.floats(300, 1900), st.floats(10, 5000))
def test_every_line_is_the_stated_effect_on_the_current(current_ma: float, load_ohm: float) -> None:
    """GUM 4.3.7: a limit of error a has u = a / sqrt(3)."""
    w = math.tau * CARRIER_HZ

    def driven(inductance_uh: float) -> float:
        return 1 - abs(load_ohm / (load_ohm + 1j * w * 1e-6 * inductance_uh))

    def passed_by(capacitance_pf: float) -> float:
        return 1 - abs(1 / (1 + 1j * w * 1e-12 * capacitance_pf * load_ohm))

    limits = {
        "meter drift": 0.002 * 365 / 365.25,
        "meter bandwidth": 1 - abs(1 / (1 + 0.045j)),
        "crest factor response": 0.003,
        "meter temperature": 0.0002 * 5,
        "load reactance": driven(0.4),
        "stray capacitance": passed_by(20),
        "lead inductance": driven(1.4) - driven(0.4),
        "lead capacitance": passed_by(60) - passed_by(20),
    }
    seen = current_lines(current_ma, load_ohm)
    for name, limit in limits.items():
        expected = current_ma * limit / math.sqrt(3)
        assert seen[name] == pytest.approx(expected, rel=1e-6, abs=1e-9), name
    assert seen["reconnection"] == pytest.approx(5e-4 * current_ma)
    assert seen.keys() == {"readings", "meter accuracy", *EVERY_EFFECT}


def test_a_power_with_every_effect_agrees_with_uncertainties() -> None:
    seen = power(800.0, accuracy())
    current = lines(power(800.0, accuracy(), quantity="current_ma"))
    assert current == current_lines(800.0, 500.0)
    load_ohm = {
        "load resistance": 0.006 * 500 / math.sqrt(3),
        "load drift": 0.001 * 365 / 365.25 * 500 / math.sqrt(3),
        "load temperature": 0.0001 * 5 * 500 / math.sqrt(3),
    }
    amps = (800 + sum(ufloat(0, u) for u in current.values())) / 1000
    expected = amps**2 * (500 + sum(ufloat(0, u) for u in load_ohm.values()))
    assert seen.uncertainty == pytest.approx(expected.std_dev, rel=1e-9)
    assert seen.left_out == ()


def test_reconnection_has_the_degrees_of_freedom_it_was_found_with() -> None:
    line = next(line for line in power(800.0, accuracy()).budget if line.source == "reconnection")
    assert (line.dof, line.evaluation, line.shared) == (9.0, "B", None)


def test_what_is_absent_is_left_out_by_name() -> None:
    bare = accuracy(Influences(), mode=None, room_c=None)
    assert left_out("current_ma", bare) == EVERY_EFFECT[1:]
    assert left_out("power_w", bare) == (*EVERY_EFFECT[1:], "load temperature")
    assert power(800.0, bare).left_out == (*EVERY_EFFECT[1:], "load temperature")


def test_without_a_certificate_all_of_it_is_left_out() -> None:
    assert power(800.0, None).left_out == (
        *("meter accuracy", *EVERY_EFFECT),
        *("load resistance", *OF_THE_LOAD),
    )


@pytest.mark.parametrize(
    ("known", "lacks"),
    [
        (accuracy(room_c=None), {"meter temperature", "load temperature"}),
        (accuracy(mode=None), {"meter bandwidth", *EVERY_EFFECT[4:8]}),
        (accuracy(Influences(crest_factor_percent=0)), {*EVERY_EFFECT[3:], "load temperature"}),
    ],
)
def test_each_effect_needs_its_own_data(known: Accuracy, lacks: set[str]) -> None:
    assert set(power(800.0, known).left_out) == lacks


def test_what_is_nil_is_neither_a_line_nor_left_out() -> None:
    nil = power(800.0, accuracy(STATED.model_copy(update={"crest_factor_percent": 0.0})))
    assert "crest factor response" not in {*lines(nil), *nil.left_out}


def test_values_share_an_error_where_its_cause_is_the_same() -> None:
    def shared(measured: Measured) -> set[str]:
        return {line.shared for line in measured.budget if line.shared is not None}

    here, higher = shared(power(800.0, accuracy())), shared(power(900.0, accuracy()))
    assert here == higher
    other_load = here & shared(power(800.0, accuracy(load_ohm=200.0), 200.0))
    assert other_load == {
        "meter accuracy to 2000 mA, C1",
        "meter drift, C1",
        "meter bandwidth coag, C1",
        "crest factor response coag, C1",
        "meter temperature, C1",
    }
    cut = COAG.model_copy(update={"name": "cut"})
    assert {name.partition(",")[0] for name in here & shared(power(800.0, accuracy(mode=cut)))} == {
        "meter accuracy to 2000 mA",
        "meter drift",
        "meter temperature",
        "load resistance 500 ohm",
        "load drift 500 ohm",
        "load temperature 500 ohm",
    }
    assert "meter accuracy to 2000 mA, C1" not in shared(power(200.0, accuracy()))


@pytest.mark.parametrize(
    ("given_keys", "says"),
    [
        ({"current_percent_per_k": 0.1}, "needs calibrated_at_c"),
        ({"load_percent_per_k": 0.1}, "needs calibrated_at_c"),
        ({"reconnections": 5}, "give both"),
        ({"reconnection_percent": 0.1}, "give both"),
        ({"reconnection_percent": 0.1, "reconnections": 1}, "greater than or equal to 2"),
    ],
)
def test_half_of_a_statement_is_refused(given_keys: dict[str, float], says: str) -> None:
    with pytest.raises(ValidationError, match=says):
        Influences.model_validate(given_keys)
