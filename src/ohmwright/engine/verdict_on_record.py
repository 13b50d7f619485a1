"""Whether the verdicts on record follow from the values, limits and rules on record.

Each pass and fail is decided once more. An undecided or unmeasured point may rest on more than its
value (what was seen in the activation), and a warm-up passes by its time.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from math import isclose

from ohmwright.model.decision import (
    Decision,
    FalseAccept,
    FourToOne,
    GlobalRisk,
    GuardBand,
    SimpleAcceptance,
    SpecificRisk,
)
from ohmwright.model.event import Event, PointDone, RunFinished
from ohmwright.model.result import Conformity, Measured, Result, latest
from ohmwright.model.tolerance import Target

from .judge import conformity, judge
from .run import overall_verdict

_FIGURE = r"([0-9.e+-]+)"
_GUARD_BAND = re.compile(rf"guard band w = {_FIGURE} U")
_SPECIFIC_RISK = re.compile(rf"specific risk at most {_FIGURE} %")
_GLOBAL_RISK = re.compile(
    rf"global risk: false accepts at most {_FIGURE} % with {_FIGURE} % in tolerance as received"
)
_WITHOUT_PARAMETERS: dict[str, Decision] = {
    "simple acceptance": SimpleAcceptance(),
    "test uncertainty ratio at least 4:1": FourToOne(rule="4:1"),
    "false accepts at most 2 % whatever share is in tolerance as received": FalseAccept(
        rule="2 % false accept"
    ),
}


def differing_verdicts(events: Iterable[Event]) -> Iterator[tuple[int, str]]:
    """Yield number and description of each event whose verdict its own figures do not give."""
    results: list[Result] = []
    for number, event in enumerate(events, start=1):
        if isinstance(event, PointDone):
            results.append(event.result)
            if said := what_differs(event.result):
                yield number, said
        elif isinstance(event, RunFinished):
            whole = overall_verdict(latest(results))
            if whole != event.verdict:
                yield number, f"its verdict is {event.verdict}, and that of its points {whole}"


def what_differs(result: Result) -> str:
    """What the figures of a result say against its verdict; empty where they agree."""
    measured, target, how = result.measured, result.target, result.conformity
    if result.verdict not in ("pass", "fail") or target is None or result.kind == "warm_up":
        return ""
    named = f"{result.step}, {result.point} is recorded as {result.verdict}"
    if measured is None:
        return f"{named} without a value" if result.verdict == "pass" else ""
    again = _again(measured, target, how)
    if again is not None and again != result.verdict:
        figures = f"value {measured.value:.6g}, limits {target.lower:.6g} to {target.upper:.6g}"
        return f"{named}; its figures on record make it {again}: {figures}"
    if result.verdict == "pass" and how is not None and not _accepted(measured.value, how):
        return f"{named}; its value {measured.value:.6g} is not among those accepted on record"
    if how is not None and not _same_conformity(measured, target, how):
        figures = "probability, ratio, risk or accepted limits"
        return f"{named}; {figures} do not follow from its figures on record"
    return ""


def unknown_rules(events: Iterable[Event]) -> tuple[str, ...]:
    """The decision rules of a record that are another package's, in words, each once."""
    decided = (e.result.conformity for e in events if isinstance(e, PointDone))
    named = dict.fromkeys(how.rule for how in decided if how is not None)
    return tuple(one for one in named if rule_in_words(one) is None)


def _accepted(value: float, how: Conformity) -> bool:
    slack = 1e-6 * abs(value)
    above = how.accept_from is None or value >= how.accept_from - slack
    return above and (how.accept_to is None or value <= how.accept_to + slack)


def _again(measured: Measured, target: Target, how: Conformity | None) -> str | None:
    """The verdict by the figures; None where the rule is another package's."""
    if how is None:  # a figure without uncertainty, compared with its limits as it is
        return "pass" if target.lower <= measured.value <= target.upper else "fail"
    rule = rule_in_words(how.rule)
    return None if rule is None else judge(measured, target, rule)[0]


def _same_conformity(measured: Measured, target: Target, how: Conformity) -> bool:
    rule = rule_in_words(how.rule)
    again = None if rule is None else conformity(measured, target, rule)
    if again is None:
        return True
    pairs = (
        (again.probability, how.probability),
        (again.accept_from, how.accept_from),
        (again.accept_to, how.accept_to),
        (again.uncertainty_ratio, how.uncertainty_ratio),
        (again.false_accept, how.false_accept),
    )
    return all(
        (one is None) == (other is None)
        and (one is None or other is None or isclose(one, other, rel_tol=1e-4, abs_tol=1e-6))
        for one, other in pairs
    )


def rule_in_words(words: str) -> Decision | None:
    """The decision rule that a record names so; None for a rule of another package."""
    words = words.partition("; ")[0]
    if found := _GUARD_BAND.fullmatch(words):
        return GuardBand(rule="guard band", multiple=float(found[1]))
    if found := _SPECIFIC_RISK.fullmatch(words):
        return SpecificRisk(rule="specific risk", maximum_risk_percent=float(found[1]))
    if found := _GLOBAL_RISK.fullmatch(words):
        return GlobalRisk(
            rule="global risk",
            maximum_risk_percent=float(found[1]),
            in_tolerance_percent=float(found[2]),
        )
    return _WITHOUT_PARAMETERS.get(words)
