"""Values on record, computed once more from the readings on record, by the same estimator.

That is of test points, of controls of the output, of sweeps, and of adjustments by their last
activation. What it needs besides is on record, too: the meter's data, how the unit droops, and
when RF was on.
Where the search for the best fit began is not. That mostly moves a value by less than is allowed
here; where it does not, the readings are taken once more one by one, as the run took them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from math import sqrt
from typing import Any, NamedTuple

from ohmwright.estimation.activation_record import mean_window_s
from ohmwright.estimation.settled_value import Settled, pooled
from ohmwright.estimation.thermal_droop import ResidualWarmth
from ohmwright.model.event import (
    Event,
)
from ohmwright.model.result import Measured, Result, Sample

from .activations_on_record import ResultBehindRf, has_earlier_readings, results_behind_rf
from .asked_current import current_of, current_question
from .measured_value import FROM_READINGS
from .opening_events import SOFTWARE
from .steps import step_kind
from .stop_rules import UntilDecided, UntilSettled
from .warmth_on_record import warmth_on_record

_BY_ANOTHER_START = 0.001
"""Relative difference that another start of the search may make."""
_SDS = 0.5
"""And over the standard uncertainty of the readings: 0.37 was the most of 36 unlike activations."""
_LEAST_U = 0.7
"""And least part of their standard uncertainty: 0.95 was the least of 68 activations."""
_POOLED_SDS, _LEAST_POOLED_U = 1.5, 0.5
"""The same of an adjustment of several activations: those at the same place of the trim count in
its value, and the readings of the last one are on record. 0.9 was the most of 243, 1.0 the least.
"""

_Table = Mapping[str, Any]


@dataclass(frozen=True)
class BesideReadings:
    """What a record holds besides the readings that a value was computed from."""

    meter: _Table
    """Of the analyzer's data; empty where they are not kept."""
    warmth: ResidualWarmth | None
    """At the start of the activation, of two that were pooled the second; None where the record
    does not tell it."""
    earlier_warmth: ResidualWarmth | None
    """At the start of the first of two that were pooled; None where the record does not tell it."""
    software: str | None
    """Name and version of the program that computed it; None where the record does not tell."""


Recomputable = tuple[int, Result, BesideReadings]
"""A value that can be computed once more: the number of its event, and what that takes."""


class NotRecomputable(NamedTuple):
    """A value that cannot be computed once more."""

    point: str
    """Its stage, step and point."""
    why: str
    step: str
    """Its step alone."""


def recomputable(events: Iterable[Event]) -> tuple[list[Recomputable], list[NotRecomputable]]:
    """Return the values that can be computed once more, and those that cannot."""
    values, why_not = list[Recomputable](), list[NotRecomputable]()
    for number, result, evidence in _with_evidence(events):
        if why := why_not_recomputed(result, evidence):
            stage = result.stage.replace("_", " ")
            point = f"{stage}, {result.step}, {result.point}"
            why_not.append(NotRecomputable(point, why, result.step))
        else:
            values.append((number, result, evidence))
    return values, why_not


def differing(values: Iterable[Recomputable]) -> list[tuple[int, str]]:
    """Return number and description of each value that its readings do not give."""
    return [
        (number, f"{result.step}, {result.point}: {said}")
        for number, result, evidence in values
        if (said := _what_differs(result, evidence))
    ]


def why_not_recomputed(result: Result, evidence: BesideReadings) -> str:
    """Return why the value of a result is not computed once more; empty where it is."""
    rule = step_kind(result.kind).value_rule
    of_current = result.quantity in ("power_w", "current_ma") and result.load_ohm
    if rule is None or not of_current:
        return "not a current or power by the estimators kept here"
    if not result.samples:
        made = "" if evidence.software in (SOFTWARE, None) else f" (by {evidence.software})"
        return f"no readings on record{made}"
    if evidence.software != SOFTWARE:  # another version may rightly make another value of them
        return f"by another version, {evidence.software or 'not on record'}"
    if not {"window_s", "resolution_ma"} <= evidence.meter.keys():
        return "no data of the meter on record"
    if evidence.warmth is None:
        return "when RF was on before is not on record"
    if result.earlier_samples:
        told = evidence.earlier_warmth is not None
        return "" if told else "which of its activations were pooled is not on record"
    if rule != "confirmed" and has_earlier_readings(result):
        return "of several activations the readings of the last one alone are on record"
    return ""


def _with_evidence(events: Iterable[Event]) -> Iterator[Recomputable]:
    """Yield each result that has a value, with its number and what else the record holds of it."""
    for behind in results_behind_rf(events):
        if behind.result.measured is not None:
            yield behind.number, behind.result, _evidence(behind, behind.result.measured.age_s)


def _evidence(behind: ResultBehindRf, age_s: float) -> BesideReadings:
    """Return what is on record besides a result, whose value holds at `age_s`."""
    meter = behind.part.table("analyzer data").get("data", {}).get("meter", {})
    generator = behind.part.table("generator data").get("data", {})
    activations, result = behind.activations, behind.result
    warmth = warmth_on_record(activations, generator, result, age_s)
    earlier = (
        warmth_on_record(activations[:-1], generator, result, age_s) if behind.own == 2 else None
    )
    return BesideReadings(meter, warmth, earlier, behind.part.began.software)


def _what_differs(result: Result, evidence: BesideReadings) -> str:
    """Return what the readings make of a value that is another one; empty where they agree."""
    said = _what_differs_from(again_settled(result, evidence), result)
    return said and _what_differs_from(again_settled(result, evidence, one_by_one=True), result)


def _what_differs_from(again: Settled | None, result: Result) -> str:
    said = () if again is None else (_difference(again, one) for one in _stated(result))
    return next(filter(None, said), "")


def _stated(result: Result) -> Iterator[Result]:
    """Yield the result, and that of a sweep with its current in the place of its power, too."""
    yield result
    if result.sweep is not None and result.sweep.current is not None:
        yield result.model_copy(update={"measured": result.sweep.current})


def _difference(again: Settled, result: Result) -> str:
    measured = result.measured
    assert measured is not None
    value_ma = _current_ma(result, measured.value)
    lacks_some = has_earlier_readings(result) and not result.earlier_samples
    sds, least_u = (_POOLED_SDS, _LEAST_POOLED_U) if lacks_some else (_SDS, _LEAST_U)
    allowed_ma = sds * again.uncertainty + _BY_ANOTHER_START * abs(again.value)
    if abs(value_ma - again.value) > allowed_ma:
        return f"its value is {value_ma:.4g} mA, and its readings make it {again.value:.4g} mA"
    u_ma = _u_of_readings_ma(result, measured)
    if u_ma < least_u * again.uncertainty:
        return (
            f"u of its readings is {u_ma:.2g} mA in its budget, and they make it "
            f"{again.uncertainty:.2g} mA"
        )
    return ""


def _u_of_readings_ma(result: Result, measured: Measured) -> float:
    """Return the standard uncertainty by the lines of the readings in a budget, in mA."""
    lines = (one.standard_uncertainty for one in measured.budget if one.source in FROM_READINGS)
    u = sqrt(sum(line**2 for line in lines))
    if result.quantity == "current_ma":
        return u
    return u / (2e-6 * _current_ma(result, measured.value) * _load_ohm(result))


def again_settled(
    result: Result, evidence: BesideReadings, *, one_by_one: bool = False
) -> Settled | None:
    """Return the settled current by the readings on record, in mA; of two activations the mean.

    `one_by_one`: after each reading the search goes on from where it ended before, which takes
    several times as long.
    """

    def settled(samples: Iterable[Sample], warmth: ResidualWarmth | None) -> Settled | None:
        rule = _stop_rule(result, evidence.meter, warmth or ResidualWarmth())
        take = rule.read if one_by_one else rule.add_reading
        for sample in samples:
            take(*sample)
        return rule.settled()

    again = settled(result.samples, evidence.warmth)
    if not result.earlier_samples or again is None:
        return again
    first = settled(result.earlier_samples, evidence.earlier_warmth)
    return None if first is None else pooled(first, again)


def _stop_rule(
    result: Result, meter: _Table, warmth: ResidualWarmth
) -> UntilDecided | UntilSettled:
    """Return the rule that a value came of."""
    assert result.measured is not None
    target, at_age_s = result.target, result.measured.age_s
    window_s = mean_window_s(float(meter["window_s"]), str(meter.get("averages_by", "mean")))
    resolution_ma = float(meter["resolution_ma"])
    if target is None or step_kind(result.kind).value_rule == "settled":
        return UntilSettled(at_age_s, window_s, resolution_ma, warmth)
    asked = current_question(
        target,
        _load_ohm(result),
        at_age_s=at_age_s,
        window_s=window_s,
        resolution_ma=resolution_ma,
    )
    # what was decided at its last reading was not fitted once more; anything else was
    return UntilDecided(asked, warmth, lambda _: result.verdict in ("pass", "fail"))


def _current_ma(result: Result, value: float) -> float:
    """Return a value of the result's quantity, mA or W, as a current in mA."""
    assert result.quantity is not None
    return current_of(value, result.quantity, _load_ohm(result))


def _load_ohm(result: Result) -> float:
    assert result.load_ohm is not None  # nothing is computed once more without
    return result.load_ohm
