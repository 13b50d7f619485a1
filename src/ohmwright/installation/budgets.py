"""Checks of uncertainty budgets: examples of the GUM and JCGM 101, a power by a certificate."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import date
from functools import lru_cache

from ohmwright.engine.measured_value import Accuracy, measured_value
from ohmwright.estimation.settled_value import Settled
from ohmwright.model.analyzer_certificate import (
    AnalyzerCertificate,
    CurrentRange,
    Drift,
    LoadAccuracy,
)
from ohmwright.model.result import Measured
from ohmwright.model.step import Timing
from ohmwright.uncertainty.budget import Budget, combine, propagate
from ohmwright.uncertainty.inputs import Input, rectangular

from .check import Check, clause_checks

_GUM = "GUM (JCGM 100:2008)"


def checks() -> Iterator[Check]:
    """Yield checks of combined and expanded uncertainties, degrees of freedom and Monte Carlo."""
    yield from clause_checks(
        *(_GUM, "H.1 end gauge", "published"),
        ("u, nm", 32.0, 0.5, lambda: _gauge().standard_uncertainty),
        ("degrees of freedom", 16.7, 0.1, lambda: _gauge().effective_dof),
    )
    yield from clause_checks(
        *(_GUM, "H.2 resistance, correlated", "published"),
        ("u(R), ohm", 0.071, 0.001, lambda: _resistance().standard_uncertainty),
    )
    yield from clause_checks(
        *(_GUM, "G.4.1 and table G.2", "from memory"),
        ("degrees of freedom", 19.0, 0.05, lambda: _sum((0.25, 9), (0.57, 4), (0.82, 14))[0]),
        ("t for 4 degrees of freedom, 95 %", 2.78, 0.0051, lambda: _sum((1.0, 4))[1]),
        ("t for infinitely many, 95 %", 1.960, 0.0006, lambda: _sum((1.0, math.inf))[1]),
    )
    yield from clause_checks(
        *("JCGM 101:2008", "9.2.4 one wide rectangle", "from memory"),
        ("half width of 95 %, Monte Carlo", 17.0, 0.05, _wide_rectangle),
    )
    yield from clause_checks(
        *("GTC (library)", "power from a certificate", "reference"),
        ("u(P), W", 5.19987236, 1e-6, lambda: _power().uncertainty),
        ("U(P), W", 13.00369657, 1e-6, lambda: _expanded(_power())),
    )
    yield from clause_checks(
        *("uncertainties (library)", "power, meter and load correlated", "reference"),
        ("u(P), W", 5.35530308, 1e-6, lambda: _power(correlation=0.5).uncertainty),
    )
    yield from clause_checks(
        *("scipy (noncentral chi squared)", "power of a current hardly known", "reference"),
        ("U(P), Monte Carlo, W", 35.24, 0.15, lambda: _expanded(_hardly_known())),
    )


@lru_cache(maxsize=1)
def _gauge() -> Budget:
    """Return the budget of GUM H.1: l = ls + d - ls (da theta + as dt), in nm.

    ls: the standard's length; d: the measured difference; da, dt: differences of the two gauges in
    expansion coefficient and temperature; theta: the deviation from 20 degrees Celsius.
    """
    standard_nm, expansion_per_k, theta_k = 50_000_623.0, 11.5e-6, -0.1
    inputs = (
        Input("ls", standard_nm, 25.0, 18),
        Input("d, repeated", 215.0, 5.8, 24),
        Input("d, random", 0.0, 3.9, 5),
        Input("d, systematic", 0.0, 6.7, 8),
        Input("da", 0.0, 1e-6 / math.sqrt(3.0), 50),
        Input("dt", 0.0, 0.05 / math.sqrt(3.0), 2),
    )
    slopes = (1.0, 1.0, 1.0, 1.0, -standard_nm * theta_k, -standard_nm * expansion_per_k)
    return combine(standard_nm + 215.0, inputs, slopes)


@lru_cache(maxsize=1)
def _resistance() -> Budget:
    """Return the budget of GUM H.2: R = V / I cos(phase), in ohm, from means of five readings."""
    volt, ampere, phase = 4.9990, 19.6610e-3, 1.04446
    inputs = (
        Input("V", volt, 3.2093613e-3, 4),
        Input("I", ampere, 9.4710084e-6, 4),
        Input("phase", phase, 7.5206383e-4, 4),
    )
    correlations = {
        ("V", "I"): -0.35531122,
        ("V", "phase"): 0.85762421,
        ("I", "phase"): -0.64511122,
    }
    impedance = volt / ampere
    resistance = impedance * math.cos(phase)
    slopes = (resistance / volt, -resistance / ampere, -impedance * math.sin(phase))
    return combine(resistance, inputs, slopes, correlations)


def _sum(*parts: tuple[float, float]) -> tuple[float, float]:
    """Return effective dof and 95 % coverage factor of a sum of inputs, each given by u and dof."""
    inputs = [Input(f"x{index}", 0.0, u, dof) for index, (u, dof) in enumerate(parts)]
    budget = combine(0.0, inputs, [1.0] * len(inputs))
    return budget.effective_dof, budget.expanded().coverage_factor


def _wide_rectangle() -> float:
    """Return the expanded uncertainty of a sum of four rectangles, one ten times as wide."""
    uncertainties = (1.0, 1.0, 1.0, 10.0)
    inputs = [rectangular(f"x{i}", 0.0, u * math.sqrt(3.0)) for i, u in enumerate(uncertainties)]
    budget = combine(0.0, inputs, [1.0] * 4)
    return propagate(lambda *terms: sum(terms), inputs, budget).expanded.uncertainty


@lru_cache(maxsize=2)
def _power(correlation: float = 0.0) -> Measured:
    """Return the power of 800 mA in 500 ohm, a year after the calibration of the analyzer.

    u = 6 mA with 4 degrees of freedom; `correlation` is that of meter and load accuracy.
    """
    certificate = AnalyzerCertificate(
        number="check",
        laboratory="check",
        calibrated_on=date(2025, 1, 1),
        due_on=date(2026, 1, 1),
        current=(
            CurrentRange(
                up_to_ma=2000, percent=0.4, floor_ma=0.5, resolution_ma=1, coverage_factor=2
            ),
        ),
        load=LoadAccuracy(percent=0.6),
        drift=Drift(current_percent_per_year=0.2, load_percent_per_year=0.1),
        current_load_correlation=correlation,
    )
    accuracy = Accuracy(certificate, date(2026, 1, 1))
    settled = Settled(800.0, 6.0, 4.0, 0.0, settled=True)
    return measured_value(settled, "power_w", 500.0, Timing(), accuracy)


@lru_cache(maxsize=1)
def _hardly_known() -> Measured:
    """Return the power of 150 mA in 1000 ohm with u = 60 mA, which is far from normal."""
    settled = Settled(150.0, 60.0, math.inf, 0.0, settled=True)
    return measured_value(settled, "power_w", 1000.0, Timing(), None)


def _expanded(measured: Measured) -> float:
    return math.nan if measured.expanded is None else measured.expanded
