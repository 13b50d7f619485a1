"""Warnings that a unit was still drifting: one output, measured several times, that trends."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise
from math import sqrt
from typing import NamedTuple

from ohmwright.engine.judge import scatter_half_width
from ohmwright.estimation.weighted_slope import weighted_slope
from ohmwright.model.event import Event, PointDone
from ohmwright.model.result import Result
from ohmwright.model.step import MEASURED, Stage

_SURE = 2.0
"""A trend counts beyond so many half-widths of what the readings leave unsure (97.5 % each side).

At 1.5 one of 20 simulated jobs on units that do not drift had a warning: hunting, and many outputs.
"""
_WORTH_TOLERANCES = 0.25
"""A trend of less than this part of the narrowest tolerance changes nothing."""


class _Output(NamedTuple):
    """What was measured several times."""

    stage: Stage
    mode: str | None
    setting_w: float | None
    load_ohm: float | None

    def __str__(self) -> str:
        stage = self.stage.replace("_", " ")
        return f"{stage}, {self.mode}, {self.setting_w:g} W into {self.load_ohm:g} Ω"


class _Seen(NamedTuple):
    """A current, with the half-width that the scatter of its readings leaves it, relative to it."""

    at_s: float
    current_ma: float
    half_width: float
    tolerance: float | None
    """Relative to the target, as a current; None where the point had no tolerance."""


def drift_remarks(events: Iterable[Event]) -> Iterator[str]:
    """Yield a warning for each output of a stage whose repeated values trend.

    An output is a mode at a setting into a load, measured by several steps; of a point that was
    done again only the last result counts. Trims that were moved in between begin it anew.
    """
    done = [event for event in events if isinstance(event, PointDone)]
    moves = [i for i, event in enumerate(done) if _moves_trims(event.result)]
    for start, end in pairwise((0, *moves, len(done))):
        points = {(e.result.stage, e.result.step, e.result.point): e for e in done[start:end]}
        outputs: dict[_Output, list[_Seen]] = {}
        for event in points.values():
            result, seen = event.result, _seen(event)
            if seen is not None:
                output = _Output(result.stage, result.mode, result.setting_w, result.load_ohm)
                outputs.setdefault(output, []).append(seen)
        yield from _warnings(outputs)


def _moves_trims(result: Result) -> bool:
    return result.stage == "adjust" and result.again != "checked"


def _seen(event: PointDone) -> _Seen | None:
    """Return the output current of a result; None for results of another kind."""
    at_s, result, measured = event.at.timestamp(), event.result, event.result.measured
    is_output = (
        result.stage in MEASURED and result.path == "OUTPUT" and result.setting_w is not None
    )
    if not is_output or measured is None or result.load_ohm is None or measured.value <= 0:
        return None
    target = result.target
    tolerance = None if target is None or target.one_sided else target.half_width / target.value
    half_width = scatter_half_width(measured) / measured.value
    if measured.quantity == "current_ma":
        return _Seen(at_s, measured.value, half_width, tolerance)
    if measured.quantity == "power_w":  # P = I² R: twice the current's relative change
        current_ma = 1000 * sqrt(measured.value / result.load_ohm)
        return _Seen(at_s, current_ma, half_width / 2, tolerance and tolerance / 2)
    return None


def _warnings(outputs: Mapping[_Output, Sequence[_Seen]]) -> Iterator[str]:
    for output, values in outputs.items():
        seen = sorted(values)
        span_s = seen[-1].at_s - seen[0].at_s
        moved = _moved(seen, span_s) if span_s > 0 else None
        if moved is not None:
            yield (
                f"{output}: measured {len(seen)} times in {span_s / 60:.0f} min, its current moved "
                f"by {100 * moved:+.1f} %, more than its readings leave unsure: the unit was still "
                "drifting, or warmed up"
            )


def _moved(seen: Sequence[_Seen], span_s: float) -> float | None:
    """Return the relative change from first to last by the trend; None where there is none."""
    line = weighted_slope(
        [one.at_s for one in seen],
        [one.current_ma / seen[0].current_ma for one in seen],
        [max(one.half_width, 1e-9) for one in seen],
    )
    moved, half_width = line.value * span_s, line.uncertainty * span_s
    tolerances = [one.tolerance for one in seen if one.tolerance is not None]
    worth = _WORTH_TOLERANCES * min(tolerances, default=0.0)
    return moved if abs(moved) > max(_SURE * half_width, worth) else None
