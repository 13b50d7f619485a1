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
    """Return the warmth with which the last of these activations began, as felt at `age_s`.

    Where no droop is stated, adjusting takes a typical unit's, and all else takes it as rested.
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
    """Return the warmth at the last of the times with RF on, by the unit's data."""
    warmth = before = Warmth(Droop(**{key: _pair(value) for key, value in droop.items()}))
    for rest_s, on_s in _rests(spans):
        before = warmth if rest_s is None else warmth.cooled(rest_s)
        warmth = before.heated(on_s)
    return before


def _typical_warmth(spans: Iterable[tuple[float, float]]) -> float:
    """Return the warmth that a typical unit has at the last of the times with RF on, 0 to 1."""
    warmth = before = 0.0
    for rest_s, on_s in _rests(spans):
        before = warmth if rest_s is None else cooled(warmth, rest_s)
        warmth = heated(before, on_s)
    return before


def _rests(spans: Iterable[tuple[float, float]]) -> Iterator[tuple[float | None, float]]:
    """Yield for each time with RF on the rest before it, None before the first, and its length."""
    off_s = None
    for on_at_s, on_s in spans:
        yield None if off_s is None else on_at_s - off_s, on_s
        off_s = on_at_s + on_s


def _pair(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value
