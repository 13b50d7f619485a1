"""ILAC-G8:09/2019 and ANSI/NCSL Z540.3, with the papers that work out its 2 % rule.

Every figure is one that a record states of a point: `engine.judge.conformity` of a value in the
middle of a tolerance of 80 to 120.
"""

from collections.abc import Callable, Iterator
from functools import partial

import numpy as np
from scipy.stats import norm

from ohmwright.engine.judge import conformity, judge
from ohmwright.installation.check import Check, Status, clause_checks
from ohmwright.model.decision import Decision, FalseAccept, FourToOne, GlobalRisk, GuardBand
from ohmwright.model.result import BudgetEntry, Conformity, Measured
from ohmwright.model.tolerance import Target
from ohmwright.uncertainty import risk

ILAC, Z540 = "ILAC-G8:09/2019", "ANSI/NCSL Z540.3"
K95 = 1.959963985
HALF = 20.0
BAND = Target(quantity="power_w", value=100.0, lower=100.0 - HALF, upper=100.0 + HALF)
UNKNOWN, FOUR = FalseAccept(rule="2 % false accept"), FourToOne(rule="4:1")

# multiple of U, coverage factor, risk of a value on the acceptance limit, its rounding
GUARD_BANDS: tuple[tuple[float, float, float, float, Status], ...] = (
    (1.0, K95, 0.025, 2e-7, "published"),
    (1.0, 2.0, 0.0227501319, 2e-7, "reference"),
    (1.5, 2.0, 0.0013498980, 2e-7, "reference"),
    (3.0, 2.0, 9.866e-10, 1e-12, "reference"),
    (0.83, 2.0, 0.0484572, 2e-7, "reference"),
    (0.8224268, 2.0, 0.05, 2e-7, "reference"),
)
# share in tolerance, ratio: false accepts in % for k = 2, then for k = 1.95996
FALSE_ACCEPTS = (
    (0.95, 1.0, 1.80116, 1.81287),
    (0.95, 1.5, 1.54116, 1.55507),
    (0.95, 2.0, 1.33734, 1.35190),
    (0.95, 3.0, 1.04851, 1.06251),
    (0.95, 4.0, 0.858266, 0.871010),
    (0.90, 4.0, 1.37410, 1.39639),
    (0.89, 4.0, 1.45565, 1.47955),
    (0.80, 2.0, 3.45796, 3.51017),
    (0.80, 4.0, 1.96900, 2.00385),
)
# share in tolerance: false accepts in %, population's spread over the error's 4:1
RP19 = {
    0.60: 4.838603,
    0.70: 3.922341,
    0.80: 2.855831,
    0.90: 1.599953,
    0.95: 0.871009,
    0.99: 0.199917,
}
# ratio: multiplier of the managed-risk guard band
MANAGED_RISK = {2.0: 0.8591773, 4.0: 0.9867197}
# share in tolerance, ratio, k: acceptance multiplier that leaves 2 % false accepts
TWO_PERCENT = (
    (0.80, 2.0, 2.0, 0.8944153),
    (0.80, 2.0, K95, 0.8894755),
    (0.90, 1.0, 2.0, 0.7923970),
    (0.90, 1.0, K95, 0.7845630),
    (0.90, 2.0, 2.0, 0.9731532),
    (0.85, 1.5, 2.0, 0.8474773),
)


def test_agrees(check: Check, holds: Callable[[Check], None]) -> None:
    holds(check)


def checks() -> Iterator[Check]:
    for multiple, factor, expected, rounding, status in GUARD_BANDS:
        what = f"risk on the acceptance limit, w = {multiple:g} U, k = {factor:.6g}"
        row = (what, expected, rounding, partial(risk_on_limit, multiple, factor))
        yield from clause_checks(ILAC, "4.2 guard band", status, row)
    for share, ratio, *percents in FALSE_ACCEPTS:
        for factor, expected in zip((2.0, K95), percents, strict=True):
            what = f"%, {100 * share:g} % in tolerance, {ratio:g}:1, k = {factor:.6g}"
            row = (what, expected, 6e-6, partial(false_accepts, share, ratio, factor))
            yield from clause_checks(Z540, "5.3 b false accepts", "reference", row)
    for share, expected in RP19.items():
        ratio = 4.0 * norm.ppf(0.5 + 0.5 * share) / 2.0
        row = (
            f"%, {100 * share:g} % in tolerance",
            expected,
            1e-5,
            partial(false_accepts, share, ratio),
        )
        yield from clause_checks(
            "NCSLI RP-19 (draft)", "false accepts, spreads 4:1", "published", row
        )
    yield from deaver()
    yield from rules_of_thumb()
    for ratio, expected in MANAGED_RISK.items():
        row = (
            f"managed-risk multiplier, {ratio:g}:1",
            expected,
            6e-8,
            partial(share_accepted, UNKNOWN, ratio),
        )
        yield from clause_checks(Z540, "5.3 b guard bands", "from memory", row)
    for share, ratio, factor, expected in TWO_PERCENT:
        what = f"multiplier, {100 * share:g} % in tolerance, {ratio:g}:1, k = {factor:.6g}"
        row = (what, expected, 6e-8, partial(share_accepted, known(share), ratio, factor))
        yield from clause_checks(Z540, "5.3 b guard bands", "reference", row)
    yield from clause_checks(
        *(Z540, "5.3 b, 4:1", "reference"),
        ("119.9, 4.01:1", "pass", 0, partial(verdict, 119.9, 4.01, FOUR)),
        ("119.9, 3.99:1", "undecided", 0, partial(verdict, 119.9, 3.99, FOUR)),
        ("120.1, 4.01:1", "fail", 0, partial(verdict, 120.1, 4.01, FOUR)),
    )


def deaver() -> Iterator[Check]:
    # limit in population spreads, spread over error, acceptance multiplier
    clause = "risk curves (Deaver 1993 to 1995)"
    for limit, ratio, expected in ((2.0, 4.0, 0.0080061), (2.5, 4.0, 0.0024453)):
        share = 2.0 * norm.cdf(limit) - 1.0
        compute = partial(false_accepts, share, limit * ratio / 2.0)
        what = f"%, limit {limit:g} spreads, {ratio:g}:1"
        row = (what, 100.0 * expected, 6e-6, compute)
        yield from clause_checks("scipy and suncal", clause, "reference", row)
    guarded = float(risk.false_accept(2.0 * norm.cdf(2.0) - 1.0, 2.0, 0.91))
    row = ("limit 2 spreads, 2:1, acceptance 0.91", 0.008, 5e-4, lambda: guarded)
    yield from clause_checks("Deaver 1993 to 1995", "risk curves", "published", row)


def rules_of_thumb() -> Iterator[Check]:
    yield from clause_checks(
        *(Z540, "2 % whatever the other figure", "reference"),
        ("largest false accepts at 4.6:1, %", 1.9648, 6e-5, partial(worst, 4.6)),
        ("largest false accepts at 4:1, %", 2.2382, 6e-5, partial(worst, 4.0)),
        ("largest with 89 % observed in tolerance, %", 1.9515, 6e-5, partial(worst_seen, 0.89)),
        ("largest with 88 % observed in tolerance, %", 2.1403, 2e-4, partial(worst_seen, 0.88)),
    )


def measured(value: float, ratio: float, factor: float = 2.0) -> Measured:
    """A value whose readings leave no doubt, with U so that the tolerance is `ratio` times it."""
    u = HALF / (factor * ratio)
    line = BudgetEntry(source="all", evaluation="B", standard_uncertainty=u)
    return Measured(
        value=value, uncertainty=u, dof=1e6, age_s=6, coverage_factor=factor, budget=(line,)
    )


def held(value: float, ratio: float, rule: Decision, factor: float = 2.0) -> Conformity:
    found = conformity(measured(value, ratio, factor), BAND, rule)
    assert found is not None
    return found


def verdict(value: float, ratio: float, rule: Decision) -> str:
    return judge(measured(value, ratio), BAND, rule)[0]


def known(share: float, most: float = 0.02) -> GlobalRisk:
    return GlobalRisk(
        rule="global risk", in_tolerance_percent=100 * share, maximum_risk_percent=100 * most
    )


def risk_on_limit(multiple: float, factor: float) -> float:
    rule = GuardBand(rule="guard band", multiple=multiple)
    on_limit = held(100.0, 10.0, rule, factor).accept_to
    return 1.0 - held(on_limit, 10.0, rule, factor).probability


def false_accepts(share: float, ratio: float, factor: float = 2.0) -> float:
    """In percent, by a rule that lets so many happen that it draws nothing in."""
    return 100.0 * held(100.0, ratio, known(share, 0.5), factor).false_accept


def share_accepted(rule: Decision, ratio: float, factor: float = 2.0) -> float:
    return (held(100.0, ratio, rule, factor).accept_to - 100.0) / HALF


def worst(ratio: float) -> float:
    return 100.0 * float(risk.false_accept(np.linspace(0.3, 0.99, 2761), ratio).max())


def worst_seen(observed: float) -> float:
    # What is observed has both spreads in it.
    spread = 1.0 / norm.ppf(0.5 + 0.5 * observed)
    error = 1.0 / (2.0 * np.linspace(0.85, 20.0, 4001))
    error = error[error < spread]
    share = 2.0 * norm.cdf(1.0 / np.sqrt(spread**2 - error**2)) - 1.0
    # a share so near to 1 that it is rounded to it has no false accepts
    share, error = share[share < 1.0], error[share < 1.0]
    return 100.0 * float(risk.false_accept(share, 1.0 / (2.0 * error)).max())
