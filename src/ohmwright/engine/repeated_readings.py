"""Whether two results of a record have the readings of one activation.

Every reading has noise, of the meter and of the unit, and an age of its own. Two activations agree
in some readings, above all where the meter's digits are coarse; not in all of many that differ.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ohmwright.model.event import Event, PointDone, RunResumed
from ohmwright.model.result import Result

from .run_so_far import run_started_event
from .steps import step_kind

_READINGS = 10
"""Fewer may agree by chance: of 5,400 pairs of demo results, whose meter shows whole mA, the most
alike had 17 in a row, of 43 readings of a leakage current."""
_VALUES = 8
"""Different ones among them; a current that stands still is the same in any activation."""
_AGE_DECIMALS = 3
"""An age to the ms: readings that came in by themselves never agree so closely."""

_Readings = tuple[tuple[float, float], ...]
"""Age and current of each."""


def repeated_readings(events: Sequence[Event]) -> Iterator[tuple[int, str]]:
    """Yield number and description of each result whose readings an earlier one has, too.

    The shorter of the two may be the beginning of the other. A simulated bench draws the same noise
    whenever it is opened, so that a run that goes on there is held against no part before.
    """
    started = run_started_event(events)
    has_seed = started is not None and started.seed is not None
    earlier: dict[_Readings, list[tuple[int, Result, _Readings]]] = {}
    for number, event in enumerate(events, start=1):
        if has_seed and isinstance(event, RunResumed):
            earlier.clear()
        if not isinstance(event, PointDone) or not _has_own_activation(event.result):
            continue
        result, own = event.result, _readings(event.result)
        alike = earlier.setdefault(own[:_READINGS], [])
        for its_number, other, its in alike:
            both = min(len(own), len(its))
            if own[:both] == its[:both] and _tells(own[:both]):
                yield (
                    number,
                    f"{_named(result)}: its first {both} readings are those of {_named(other)} "
                    f"(event {its_number}), to the last digit and at the same ages: they "
                    "are of one activation, and one of both is a copy",
                )
                break
        alike.append((number, result, own))


def telling_readings(result: Result) -> tuple[tuple[float, float], ...] | None:
    """Return ages and currents of a result that no other activation can have; None else."""
    readings = _readings(result)
    return readings if _has_own_activation(result) and _tells(readings) else None


def _has_own_activation(result: Result) -> bool:
    return step_kind(result.kind).activates_for_each_result


def _readings(result: Result) -> _Readings:
    return tuple((round(age_s, _AGE_DECIMALS), ma) for age_s, ma in result.samples)


def _tells(readings: _Readings) -> bool:
    """Whether these are too many, and too unlike each other, for an activation to repeat them."""
    return len(readings) >= _READINGS and len({ma for _, ma in readings}) >= _VALUES


def _named(result: Result) -> str:
    return f"{result.stage.replace('_', ' ')}, {result.step}, {result.point}"
