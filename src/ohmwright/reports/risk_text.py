"""The risk of the decisions of a certificate, as ISO/IEC 17025 7.8.6 (unverified) wants it said."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from math import ceil

from ohmwright.model.result import Measured, Result

from .text import printable
from .verdict_grounds import covered

_BY_TRIALS = (
    "Monte Carlo (JCGM 101), whose mean, standard deviation and half the width of whose interval "
    "are the value, u and U of"
)


def decision_rules(results: Iterable[Result]) -> tuple[str, ...]:
    """The rules that decided; where there are several, each behind the steps that it decided.

    Behind step and point where one step has several.
    """
    rules = defaultdict[str, list[Result]](list)
    of_step = defaultdict[str, set[str]](set)
    for result in results:
        if result.conformity is not None:
            rules[result.conformity.rule].append(result)
            of_step[result.step].add(result.conformity.rule)
    if len(rules) < 2:
        return tuple(rules)
    named = {
        rule: dict.fromkeys(
            one.step if len(of_step[one.step]) == 1 else f"{one.step} {one.point}"
            for one in decided
        )
        for rule, decided in rules.items()
    }
    return tuple(f"{', '.join(names)}: {rule}" for rule, names in named.items())


def risk_text(results: Sequence[Result]) -> str:
    """How probably a point was decided wrongly, at worst; empty where no value was decided.

    By the readings alone nobody knows it.
    """
    results = covered(results)
    passed = [1 - p for p in _probabilities(results, "pass")]
    failed = list(_probabilities(results, "fail"))
    said = []
    if passed:
        said.append(f"a point that passed is out of tolerance: {_at_most(passed)}")
    if failed:
        said.append(f"one that failed is within: {_at_most(failed)}")
    shares = [
        r.conformity.false_accept
        for r in results
        if r.conformity is not None and r.conformity.false_accept is not None
    ]
    if shares:
        said.append(f"share of all units accepted though out of tolerance: {_at_most(shares)}")
    return f"Risk of the decisions made (1 − P, or P): {'; '.join(said)}." if said else ""


def coverage_text(results: Sequence[Result]) -> str:
    """The coverage factors behind U, and how they were found; empty where no value has one.

    What stands behind ± of a value without an analyzer certificate has one, too.
    """
    whole = covered(results)
    said = (
        _factors_of("U = k u, of about 95 % coverage, with", whole),
        _factors_of(
            "Of values without an analyzer certificate, ± is k times the u of what it holds, with",
            [one for one in results if one not in whole],
        ),
    )
    factors = " ".join(filter(None, said))
    return f"{factors} The files for programs give k with each value." if factors else ""


def _factors_of(heading: str, results: Iterable[Result]) -> str:
    """A sentence on the coverage factors of values; empty where none has one."""
    known = [
        (r, r.measured)
        for r in results
        if r.measured is not None and r.measured.coverage_factor is not None
    ]
    by_t = _factors(measured for _, measured in known if measured.propagation == "linear")
    simulated = [(r, measured) for r, measured in known if measured.propagation == "Monte Carlo"]
    by_trials = _factors(measured for _, measured in simulated)
    points = ", ".join(f"{r.stage.replace('_', ' ')}, {r.step}, {r.point}" for r, _ in simulated)
    said = (
        by_t and f"k = {by_t} by Student's t with the effective degrees of freedom of each value",
        by_trials and f"k = {by_trials} by {_BY_TRIALS}: {printable(points)}",
    )
    return f"{heading} {'; '.join(filter(None, said))}." if known else ""


def _factors(found: Iterable[Measured]) -> str:
    """The coverage factors of values: one, or from which to; empty where there is none."""
    factors = [one.coverage_factor for one in found if one.coverage_factor is not None]
    if not factors:
        return ""
    low, high = (f"{one:.2f}" for one in (min(factors), max(factors)))
    return low if low == high else f"{low} to {high}"


def _probabilities(results: Iterable[Result], verdict: str) -> Iterable[float]:
    """The probability of conformity of each result that has one and this verdict."""
    for result in results:
        if result.verdict == verdict and result.conformity is not None:
            yield result.conformity.probability


def _at_most(shares: Sequence[float]) -> str:
    """The largest share in percent, rounded up: what it is at most."""
    percent = 100 * max(shares)
    if percent < 0.1:
        return "below 0.1 %"
    # of what is exact to a tenth the last bit is not rounded up
    return f"at most {ceil(round(10 * percent, 6)) / 10:.1f} %"
