"""The six decision rules, with figures of JCGM 106, ILAC-G8, Z540.3 and RP-19."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from ohmwright.engine.judge import conformity, judge
from ohmwright.model.decision import (
    Decision,
    FalseAccept,
    FourToOne,
    GlobalRisk,
    GuardBand,
    SimpleAcceptance,
    SpecificRisk,
)
from ohmwright.model.result import AMPLE_DOF, BudgetEntry, Conformity, Measured
from ohmwright.model.tolerance import Target

from .check import Check, clause_checks

Evaluation = Literal["A", "B"]
_NORMAL_K = 1.959963985
_BAND = Target(quantity="power_w", value=100.0, lower=80.0, upper=120.0)
_SIMPLE = SimpleAcceptance()
_GUARD = GuardBand(rule="guard band")
_UNKNOWN = FalseAccept(rule="2 % false accept")
_FOUR = FourToOne(rule="4:1")
_OIL = Target(quantity="power_w", value=14.4, lower=12.5, upper=16.3)


def checks() -> Iterator[Check]:
    """Yield checks of verdicts and acceptance limits; the tolerance is 80 to 120 if not named."""
    yield from clause_checks(
        *("JCGM 106:2012", "7.4 motor oil, 13.6 in 12.5 to 16.3, u = 1.8", "from memory"),
        (
            "probability of conformity",
            0.66,
            0.005,
            lambda: _conformity(13.6, 1.8, _OIL).probability,
        ),
    )
    yield from clause_checks(
        *("ILAC-G8:09/2019", "4.2.1 simple acceptance", "reference"),
        ("119.9, U = 10", "pass", 0, lambda: _verdict(119.9, 5.0, _SIMPLE)),
        ("120.1, U = 10", "fail", 0, lambda: _verdict(120.1, 5.0, _SIMPLE)),
    )
    yield from clause_checks(
        *("ILAC-G8:09/2019", "4.2.2 guard band w = U", "published"),
        ("risk at the acceptance limit, %", 2.5, 1e-3, _risk_at_guard_band),
    )
    yield from clause_checks(
        *("ILAC-G8:09/2019", "4.2.2 guard band, on 80 to 120", "reference"),
        ("acceptance limit, U = 10", 110.0, 1e-9, lambda: _accept_to(100.0, 5.0, _GUARD)),
        ("109.9, U = 10", "pass", 0, lambda: _verdict(109.9, 5.0, _GUARD)),
        ("110.1, U = 10", "undecided", 0, lambda: _verdict(110.1, 5.0, _GUARD)),
        ("121, U = 10", "undecided", 0, lambda: _verdict(121.0, 5.0, _GUARD)),
    )
    yield from clause_checks(
        *("JCGM 106:2012", "8.3 speed limit 100 km/h, u = 2 %, 99.9 %", "from memory"),
        ("speed to act from, km/h", 107.0, 0.5, _speed_to_act_from),
    )
    yield from _risk_and_ratio_checks()


def _risk_and_ratio_checks() -> Iterator[Check]:
    """Yield the checks of global risk, 4:1, test uncertainty ratio and the readings' scatter."""
    yield from clause_checks(
        *("NCSLI RP-19 (draft)", "global risk, spreads 4:1", "published"),
        ("false accepts, 95 % in tolerance, %", 0.871009, 1e-5, lambda: _rp19(95.0, 1.959964)),
    )
    yield from clause_checks(
        *("scipy (bivariate normal)", "Z540.3 5.3 b, global risk at most 2 %", "reference"),
        ("share of tolerance, 80 %, 2:1", 0.8944153, 1e-6, lambda: _share(_known(80.0), 5.0)),
    )
    yield from clause_checks(
        *("ANSI/NCSL Z540.3", "5.3 b, 2 % whatever is in tolerance", "from memory"),
        ("share of tolerance, 2:1", 0.8591773, 1e-6, lambda: _share(_UNKNOWN, 5.0)),
    )
    yield from clause_checks(
        *("ANSI/NCSL Z540.3", "5.3 b, 2 % and 4:1, on 80 to 120", "reference"),
        ("118, 2 %, 2:1", "undecided", 0, lambda: _verdict(118.0, 5.0, _UNKNOWN)),
        ("119.9, 4.02:1", "pass", 0, lambda: _verdict(119.9, 2.49, _FOUR)),
        ("119.9, 3.98:1", "undecided", 0, lambda: _verdict(119.9, 2.51, _FOUR)),
    )
    yield from clause_checks(
        *("exact arithmetic", "test uncertainty ratio; scatter of readings", "reference"),
        ("ratio of +-20 to U = 10", 2.0, 1e-12, _ratio),
        ("119, simple, readings' u = 1", "undecided", 0, lambda: _scattered(119.0, 1.0)),
        ("121, simple, readings' u = 1", "undecided", 0, lambda: _scattered(121.0, 1.0)),
    )


def _measured(value: float, u: float, factor: float = 2.0, kind: Evaluation = "B") -> Measured:
    """Return a value whose uncertainty is all of one kind: A, of its readings' scatter, or B."""
    line = BudgetEntry(source="check", evaluation=kind, standard_uncertainty=u)
    return Measured(
        value=value,
        uncertainty=u,
        dof=AMPLE_DOF,
        age_s=6.0,
        expanded=factor * u,
        coverage_factor=factor,
        budget=(line,),
    )


def _verdict(value: float, u: float, rule: Decision) -> str:
    return judge(_measured(value, u), _BAND, rule)[0]


def _scattered(value: float, u: float) -> str:
    return judge(_measured(value, u, kind="A"), _BAND, _SIMPLE)[0]


def _conformity(
    value: float,
    u: float,
    target: Target = _BAND,
    rule: Decision = _SIMPLE,
    factor: float = 2.0,
) -> Conformity:
    found = conformity(_measured(value, u, factor), target, rule)
    assert found is not None
    return found


def _ratio() -> float:
    ratio = _conformity(100.0, 5.0).uncertainty_ratio
    assert ratio is not None
    return ratio


def _accept_to(value: float, u: float, rule: Decision) -> float:
    limit = _conformity(value, u, rule=rule).accept_to
    assert limit is not None
    return limit


def _share(rule: Decision, u: float) -> float:
    """Return the acceptance limit over the tolerance limit of a rule, for the target."""
    return (_accept_to(100.0, u, rule) - _BAND.value) / _BAND.half_width


def _known(in_tolerance_percent: float) -> Decision:
    return GlobalRisk(rule="global risk", in_tolerance_percent=in_tolerance_percent)


def _risk_at_guard_band() -> float:
    """Return the risk, percent, of a value on the acceptance limit, with U = 1.96 u."""
    found = _conformity(120.0 - _NORMAL_K * 5.0, 5.0, rule=_GUARD, factor=_NORMAL_K)
    return 100.0 * (1.0 - found.probability)


def _rp19(in_tolerance_percent: float, spreads: float) -> float:
    """Return false accepts in percent; half the tolerance is `spreads` standard deviations.

    The standard uncertainty is a quarter of the standard deviation of the population.
    """
    rule = GlobalRisk(
        rule="global risk", in_tolerance_percent=in_tolerance_percent, maximum_risk_percent=50.0
    )
    share = _conformity(100.0, _BAND.half_width / (4.0 * spreads), rule=rule).false_accept
    assert share is not None
    return 100.0 * share


def _speed_to_act_from() -> float:
    """Return the lowest measured speed, km/h, that the rule decides to be above 100 km/h."""
    beyond = Target(quantity="power_w", value=200.0, lower=100.0, upper=1e6)
    rule = SpecificRisk(rule="specific risk", maximum_risk_percent=0.1)
    low, high = 100.0, 200.0
    while high - low > 1e-6:
        speed = 0.5 * (low + high)
        verdict, _ = judge(_measured(speed, 0.02 * speed), beyond, rule)
        low, high = (low, speed) if verdict == "pass" else (speed, high)
    return high
