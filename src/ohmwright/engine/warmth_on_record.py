"""The warmth with which an activation on record began, by the times with RF on before it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from ohmwright.estimation.thermal_droop import Droop, ResidualWarmth, Warmth, cooled, heated
from ohmwright.model.event import ActivationClosed
from ohmwright.model.result import Result

from .steps import step_kind


def warmth_on_record(
    activations: Iterable[ActivationClosed],
    generator: Mapping[str, Any],
    result: Result,
    age_s: float,
) -> ResidualWarmth | None:
    """Return the warmth with which the last of these activations began, for a value at `age_s`.

    None where the record does not tell when RF was on. Where no droop is stated, an adjustment was
    computed with a typical unit's warmth, and all else as of a rested unit; so it is here.
    """
    flowed = [one for one in activations if one.on_s > 0]
    if any(one.on_at_bench_s is None for one in flowed):
        return None
    spans = [(one.on_at_bench_s or 0.0, one.on_s) for one in flowed]
    if "droop" in generator:
        return _stated_warmth(spans, generator["droop"]).residual(age_s)
    was_adjusted = step_kind(result.kind).value_rule == "confirmed" and result.again != "checked"
    return ResidualWarmth(_typical_warmth(spans) if was_adjusted else 0.0)


def _stated_warmth(spans: Iterable[tuple[float, float]], droop: Mapping[str, Any]) -> Warmth:
    """Return the warmth at the beginning of the last span with RF on, by the unit's data.

    A span: when RF came on, in s of the bench's clock, and for how long.
    """
    warmth = before = Warmth(Droop(**{key: _pair(value) for key, value in droop.items()}))
    for rest_s, on_s in _rests(spans):
        before = warmth if rest_s is None else warmth.cooled(rest_s)
        warmth = before.heated(on_s)
    return before


def _typical_warmth(spans: Iterable[tuple[float, float]]) -> float:
    """Return the warmth, 0 to 1, that a typical unit has at the beginning of the last span."""
    warmth = before = 0.0
    for rest_s, on_s in _rests(spans):
        before = warmth if rest_s is None else cooled(warmth, rest_s)
        warmth = heated(before, on_s)
    return before


def _rests(spans: Iterable[tuple[float, float]]) -> Iterator[tuple[float | None, float]]:
    """Yield for each span the rest before it, None before the first, and its length."""
    off_s = None
    for on_at_s, on_s in spans:
        yield None if off_s is None else on_at_s - off_s, on_s
        off_s = on_at_s + on_s


def _pair(value: Any) -> Any:
    """Return a list of a data file as the tuple that `Droop` has; anything else as it is."""
    return tuple(value) if isinstance(value, list) else value
