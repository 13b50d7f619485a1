"""Limits and powers of electrosurgery, through the steps of a procedure and a point's budget.

What IEC 60601-2-2 allows is from memory, unverified; P = I^2 R is arithmetic.
"""

from collections.abc import Callable, Iterator
from datetime import date
from functools import partial

from ohmwright.engine.asked_current import asked_current_ma
from ohmwright.engine.measured_value import Accuracy, linear_measured_value
from ohmwright.engine.requirements import expected_ma
from ohmwright.engine.steps.leakage import LeakageStep
from ohmwright.engine.steps.output import OutputStep
from ohmwright.estimation.settled_value import Settled
from ohmwright.installation.check import Check, clause_checks
from ohmwright.model.analyzer_certificate import AnalyzerCertificate, CurrentRange, LoadAccuracy
from ohmwright.model.result import Measured
from ohmwright.model.step import Point, Timing
from ohmwright.model.tolerance import Allowance

STANDARD = "IEC 60601-2-2 (unverified)"
# bipolar: rated power in W, limit in mA that makes 1 % of it in 200 ohm
BIPOLAR = ((25, 35.355), (40, 44.721), (50, 50.0), (65, 57.009), (80, 63.246), (90, 67.082))
# 300 W: load resistance in ohm, current in mA
CURRENTS = ((100, 1732.05), (200, 1224.74), (300, 1000.0), (500, 774.60), (2000, 387.30))
# current in mA, load resistance in ohm, power in W
POWERS = ((1000.0, 300.0, 300.0), (500.0, 500.0, 125.0), (707.1, 200.0, 99.99808))


def test_agrees(check: Check, holds: Callable[[Check], None]) -> None:
    holds(check)


def checks() -> Iterator[Check]:
    yield from clause_checks(
        *(STANDARD, "201.8.7.3.101, HF leakage", "from memory"),
        ("limit where 4.5 W is allowed, mA", 150.0, 1e-9, partial(leakage_limit_ma, 450)),
        ("limit where 2 W is allowed, mA", 100.0, 1e-9, partial(leakage_limit_ma, 200)),
        ("limit stated as 150 mA, mA", 150.0, 1e-9, lambda: leakage(limit_ma=150.0)),
        ("limit at 2 % of 100 W, mA", 100.0, 1e-9, partial(leakage_limit_ma, 100, 2.0)),
        *(
            (f"bipolar, {rated_w} W, mA", limit_ma, 6e-4, partial(leakage_limit_ma, rated_w))
            for rated_w, limit_ma in BIPOLAR
        ),
    )
    yield from clause_checks(
        *(STANDARD, "201.12.1.101, +-20 %", "from memory"),
        ("lower limit of 300 W, W", 240.0, 1e-9, lambda: output(300.0).target.lower),
        ("upper limit of 300 W, W", 360.0, 1e-9, lambda: output(300.0).target.upper),
    )
    for load_ohm, current_ma in CURRENTS:
        yield from clause_checks(
            *("P = I^2 R", f"300 W into {load_ohm} ohm", "reference"),
            ("current of the target, mA", current_ma, 6e-3, partial(target_ma, load_ohm)),
            ("current expected, mA", current_ma, 6e-3, partial(expected_ma, None, 300.0, load_ohm)),
        )
    for current_ma, load_ohm, power_w in POWERS:
        compute = partial(power_of, current_ma, load_ohm)
        what = f"{current_ma:g} mA into {load_ohm:g} ohm, W"
        yield from clause_checks("P = I^2 R", "powers", "reference", (what, power_w, 6e-6, compute))
    yield from clause_checks(
        *("P = I^2 R", "u(I) = 1 %, u(R) = 1 %", "reference"),
        ("u(P), %", 2.236068, 1e-6, lambda: power(1000.0, 300.0, 1.0).uncertainty / 3.0),
    )


def leakage_limit_ma(rated_power_w: float, percent: float | None = None) -> float:
    """By the step's own share of the rated power where no `percent` is given."""
    share = {} if percent is None else {"limit_percent": percent}
    return leakage(rated_power_w=rated_power_w, **share)


def leakage(**limit: float) -> float:
    """The limit in mA of a step whose limit is stated so."""
    step = LeakageStep(kind="leakage", name="leak", mode="cut", setting_w=50, **limit)
    return step.points()[0].target.upper


def output(load_ohm: float) -> Point:
    step = OutputStep(
        kind="output",
        name="output",
        mode="cut",
        setting_w=300,
        load_ohm=load_ohm,
        power_w=300,
        tolerance=Allowance(percent=20),
    )
    return step.points()[0]


def target_ma(load_ohm: float) -> float:
    return asked_current_ma(output(load_ohm))


def power_of(current_ma: float, load_ohm: float) -> float:
    return power(current_ma, load_ohm).value


def power(current_ma: float, load_ohm: float, percent: float = 0.0) -> Measured:
    """Of a current read without scatter, by a certificate that states k = 1 for both."""
    certificate = AnalyzerCertificate(
        number="1",
        laboratory="1",
        calibrated_on=date(2025, 1, 1),
        due_on=date(2026, 1, 1),
        current=(
            CurrentRange(up_to_ma=2000, percent=percent, resolution_ma=1e-9, coverage_factor=1),
        ),
        load=LoadAccuracy(percent=percent, coverage_factor=1),
    )
    settled = Settled(current_ma, 0.0, 9.0, 0.0, settled=True)
    accuracy = Accuracy(certificate, date(2025, 1, 1))
    return linear_measured_value(settled, "power_w", load_ohm, Timing(), accuracy)
